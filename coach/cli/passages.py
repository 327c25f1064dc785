"""Several passages of a piece, one after the other: of a practice sheet, of a plan's day.

What a plan to a date asks for today is found here, too: which bars, in words and as goals.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from coach.coaching.model import Goal
from coach.coaching.planning import BarStanding, PlannedDay, goals_of, schedule
from coach.coaching.wording import HANDS, stretch_words
from coach.record.pieces import PieceKey
from coach.record.progress import gather_progress
from coach.record.store import Store
from coach.score.model import Score
from coach.score.words import count_of
from coach.screens.interfaces import DrillSession, NextDrill
from coach.screens.plan_text import describe_day

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


# The plan to a date as it stands on a day.

DONE = "Today's part of the plan is done."


@dataclass(frozen=True, slots=True)
class TodaysPart:
    """What a piece's plan asks for today."""

    score: Score
    day: PlannedDay
    bars: tuple[BarStanding, ...]
    days_left: int
    """To the date."""

    @property
    def is_done(self) -> bool:
        """Whether nothing of it is left."""
        return not (self.day.begin or self.day.again or self.day.is_whole)

    def goals(self) -> tuple[Goal, ...]:
        """Its passages, in the order in which they are played."""
        return goals_of(self.score, self.day, self.bars)

    def describe(self) -> str:
        """``drill bars 1 to 2; again bar 9 (10 min); 7 days to its date``."""
        words = "done for today" if self.is_done else describe_day(self.score, self.day)
        return f"{words}; {count_of(self.days_left, 'day')} to its date"


def find_today(
    store: Store, piece: PieceKey, score: Score, now_s: float | None = None
) -> TodaysPart | None:
    """Today's part of a piece's plan; None where no day is ahead. Raises RecordError."""
    found = gather_progress(store, piece, score, now_s)
    if (plan := found.plan) is None:
        return None
    bars = found.bar_standings()
    (day, *_) = schedule(bars, plan, found.today, found.minutes_today).days
    return TodaysPart(score, day, tuple(bars), plan.by_day - found.today)
