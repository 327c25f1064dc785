"""What the detectors look at: the window, what was played of it, and what was measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coach.judging.articulation import Shape
from coach.judging.model import Matching, ScoreLabel
from coach.judging.timing import Timing
from coach.judging.tolerance import Tolerance
from coach.playing.notes import PlayedNote
from coach.score.model import ScoreNote
from coach.score.window import Excerpt


@dataclass(frozen=True, slots=True)
class FaultContext:
    """One repetition as it is known once it was aligned and measured."""

    excerpt: Excerpt
    played: Sequence[PlayedNote]
    matching: Matching
    timing: Timing
    shape: Shape
    tolerance: Tolerance

    def written(self, label: ScoreLabel) -> ScoreNote:
        """The score note of a label."""
        return self.excerpt.notes[label.note]
