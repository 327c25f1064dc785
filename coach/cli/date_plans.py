"""The plan to a date as it stands on a day: which bars are today's, in words and as goals."""

from __future__ import annotations

from dataclasses import dataclass

from coach.coaching.model import Goal
from coach.coaching.planning import BarStanding, PlannedDay, goals_of, schedule
from coach.record.pieces import PieceKey
from coach.record.progress import gather_progress
from coach.record.store import Store
from coach.score.model import Score
from coach.score.words import count_of
from coach.screens.plan_text import describe_day

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
