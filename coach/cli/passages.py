"""Several passages of a piece, one after the other: of a practice sheet, of a plan's day."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from coach.coaching.model import Goal
from coach.coaching.wording import HANDS, stretch_words
from coach.score.model import Score
from coach.screens.interfaces import DrillSession, NextDrill

Make = Callable[[Score, Path, float, Goal], DrillSession]
"""A session for a goal in a score from a path, at a time of the monotonic clock (s)."""


@dataclass(frozen=True, slots=True)
class SetPassage:
    """One of them."""

    goal: Goal
    place: str
    """Which one it is: ``2 of 5 on the sheet``."""


class PassageFollower:
    """Leads through them."""

    def __init__(self, path: Path, passages: Sequence[SetPassage], make: Make, done: str) -> None:
        """``done`` is said when the last one is reached."""
        self._path, self._left, self._make, self._done = path, list(passages), make, done

    def begin(self, score: Score, now_s: float) -> DrillSession:
        """The session for the passage that is now; the others come after it."""
        now, rest = self._left[0], self._left[1:]
        session = self._make(score, self._path, now_s, now.goal)
        after = session.next_drill
        if rest:
            window = rest[0].goal.window
            where = f"{stretch_words(score, window)}, {HANDS[window.hands]}"
            after = NextDrill(where, lambda at_s: self._go_on(score, at_s))
        elif after:
            after = replace(after, reached=self._done)
        return replace(session, title=f"{session.title}: {now.place}", next_drill=after)

    def _go_on(self, score: Score, now_s: float) -> DrillSession:
        del self._left[0]
        return self.begin(score, now_s)
