"""The plan to a date in words, for ``coach plan``, the diary, the report and home."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from coach.coaching.planning import (
    BarStanding,
    DatePlan,
    Day,
    PlannedDay,
    Schedule,
    minutes_that_fit,
    schedule,
    stretches,
)
from coach.record.progress import PieceProgress
from coach.score.model import Score
from coach.score.words import count_of
from coach.screens.diary_text import Line, Look, line, wrap

TOLD_DAYS = 21
"""Days that are told one by one; of later ones only those on which something is begun."""
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_DAY_COLUMNS = 12
"""``Sat 12 Dec`` and a gap."""
NO_PLAN = (
    "No lesson, exam or concert is planned for. This makes a plan: coach plan SCORE --by 2026-12-31"
)
THE_DAY_ITSELF = "the day itself: once through, slowly, and no more"


def plan_heading(found: PieceProgress, plan: DatePlan) -> str:
    """``by Sat 12 Dec: 13 days, 20 minutes a day``."""
    left = count_of(plan.by_day - found.today, "day")
    return f"by {date_words(plan.by_day)}: {left}, {plan.minutes:g} minutes a day"


@dataclass(frozen=True, slots=True)
class PlanWords:
    """A plan as it is said."""

    lack: tuple[str, ...]
    """What has no room, and what would have; said first."""
    days: tuple[tuple[str, str], ...]
    """Each day that is told: its name, and what is played on it."""
    notes: tuple[str, ...]
    """What else there is to say."""


def describe_plan(found: PieceProgress, plan: DatePlan) -> PlanWords:
    """The plan as it stands on the day of gathering."""
    score, today, bars = found.score, found.today, found.bar_standings()
    laid = schedule(bars, plan, today, found.minutes_today)
    days = []
    for day in laid.days:
        is_told = day.day < today + TOLD_DAYS or day.begin or day.is_whole
        if is_told and (day.begin or day.again or day.is_whole):
            name = "today" if day.day == today else date_words(day.day)
            days.append((name, describe_day(score, day)))
    days.append((date_words(plan.by_day), THE_DAY_ITSELF))
    notes = ["Ask again on any day: the plan is made anew from how the bars stand then."]
    if plan.by_day - today > TOLD_DAYS:
        last = date_words(today + TOLD_DAYS - 1)
        notes.insert(0, f"After {last} only days with something new are listed.")
    lack = _describe_lack(score, bars, plan, laid, today)
    return PlanWords(tuple(lack), tuple(days), tuple(notes))


def plan_page(found: PieceProgress, look: Look) -> list[Line]:
    """The page of the diary: the plan as it stands now, whichever day is looked at."""
    if (plan := found.plan) is None:
        return [line(text) for text in wrap(NO_PLAN, look)]
    return [line(f"Learnt {plan_heading(found, plan)}.", "head"), *plan_lines(found, plan, look)]


def plan_lines(found: PieceProgress, plan: DatePlan, look: Look) -> list[Line]:
    """What has no room, and the days, in lines that fit."""
    said = describe_plan(found, plan)
    lines = [line(text) for words in said.lack for text in wrap(words, look)]
    lines.append(line())
    for name, words in said.days:
        told = textwrap.wrap(words, max(look.width - _DAY_COLUMNS, 20))
        for at, text in enumerate(told):
            lines.append(line(f"{name if at == 0 else '':{_DAY_COLUMNS}}{text}"))
    lines.append(line())
    return [*lines, *(line(text, "faint") for words in said.notes for text in wrap(words, look))]


def _describe_lack(
    score: Score, bars: Sequence[BarStanding], plan: DatePlan, found: Schedule, today: Day
) -> Iterator[str]:
    """What has no room, and what would have."""
    if found.lost:
        yield f"Certain not to fit: {name_bars(score, found.lost)}."
    if found.late:
        yield f"Hardly ready in time, or begun too late to hold: {name_bars(score, found.late)}."
    if found.lost or found.late:
        enough = minutes_that_fit(bars, plan.by_day, today)
        if enough is None:
            yield "No number of minutes is enough: choose a later day, or a part of the piece."
        else:
            yield f"All of it fits with {enough} minutes a day."
    else:
        yield "All of it fits."


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
