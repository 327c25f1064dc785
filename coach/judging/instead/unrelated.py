"""Another piece: keys that are neither right nor likely slips."""

from __future__ import annotations

from collections.abc import Sequence

from coach.judging.model import Label, Matching
from coach.playing.notes import PlayedNote
from coach.score.window import Excerpt

# Both figures and both intervals are our own choice, because no repetition of the shared takes is
# taken for another piece by them.

LEAST_KEYS = 8
"""After so many keys,"""
STRANGE_SHARE = 5 / 6
"""of which so many belong nowhere, it is something else altogether."""
FOURTH = 5
"""Half steps up to which a wrong key may be a slip of a finger or of the hand;"""
OCTAVE = 12
"""and a whole octave may be one of the arm."""


def is_unrelated(excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching) -> bool:
    """Whether nearly all keys belong nowhere: neither right nor likely slips, and so many of them
    that it is another piece."""
    if len(played) < LEAST_KEYS:
        return False
    strange = sum(
        label.label is Label.EXTRA
        or (
            label.label is Label.WRONG
            and label.note is not None
            and is_wild(played[label.played].pitch - excerpt.notes[label.note].pitch)
        )
        for label in matching.played
    )
    return strange >= STRANGE_SHARE * len(played)


def is_wild(semitones: int) -> bool:
    """Whether a wrong key is too far off to be a slip: beyond a fourth, and no octave."""
    return abs(semitones) > FOURTH and abs(semitones) != OCTAVE
