"""What a window looks like on paper, still without a place: heads, stems, beams, rests, clefs."""

from coach.score.notation.clefs import bottom_step, clef_at, clef_changes, key_positions
from coach.score.notation.print import Touch, is_dynamic
from coach.score.notation.values import Value, split_length
from coach.score.notation.written import (
    FOLDS,
    SUGGESTED,
    BeamGroup,
    Counts,
    Head,
    Rest,
    Stem,
    Written,
    write,
)

__all__ = [
    "FOLDS",
    "SUGGESTED",
    "BeamGroup",
    "Counts",
    "Head",
    "Rest",
    "Stem",
    "Touch",
    "Value",
    "Written",
    "bottom_step",
    "clef_at",
    "clef_changes",
    "is_dynamic",
    "key_positions",
    "split_length",
    "write",
]
