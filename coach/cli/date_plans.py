"""The plan to a date as it stands on a day: which bars are today's, in words and as goals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from coach.coaching.model import Goal
from coach.coaching.planning import (
    BarStanding,
    DatePlan,
    Day,
    PlannedDay,
    goals_of,
    schedule,
    stand_bars,
    stretches,
)
from coach.record.calendar import day_of
from coach.record.pieces import PieceKey
from coach.record.progress import gather_progress
from coach.record.store import Store
from coach.score.model import Score
from coach.score.words import count_of

DONE = "Today's part of the plan is done."
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


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
    store: Store, piece: PieceKey, plan: DatePlan, score: Score, now_s: float
) -> TodaysPart:
    """Today's part of a plan whose day has not come yet. Raises RecordError."""
    today = day_of(now_s)
    bars, played_min = stand_today(store, piece, score, today)
    (day, *_) = schedule(bars, plan, today, played_min).days
    return TodaysPart(score, day, tuple(bars), plan.by_day - today)


def stand_today(
    store: Store, piece: PieceKey, score: Score, today: Day
) -> tuple[list[BarStanding], float]:
    """How the bars stand, and the minutes that were practised today. Raises RecordError."""
    diary = gather_progress(store, piece, score).diary
    minutes = sum(one.minutes for one in diary.days if one.day == today)
    return stand_bars(diary), minutes


def describe_day(score: Score, day: PlannedDay) -> str:
    """``drill bars 1 to 2; again bar 9 (10 min)``."""
    parts = []
    if day.begin:
        parts.append(f"drill {name_bars(score, day.begin)}")
    if day.again:
        parts.append(f"again {name_bars(score, day.again)}")
    if day.is_whole:
        parts.append("the whole piece, as you will play it")
    return f"{'; '.join(parts)} ({max(1, round(day.minutes))} min)"


def name_bars(score: Score, bars: Sequence[int]) -> str:
    """``bars 1 to 4 and bar 9``."""
    words = [score.bars[low].words_to(score.bars[high]) for low, high in stretches(bars)]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def date_words(day: Day) -> str:
    """``Sat 12 Dec``."""
    when = date.fromordinal(day)
    return f"{_DAYS[when.weekday()]} {when.day} {_MONTHS[when.month - 1]}"
