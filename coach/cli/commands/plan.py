"""A plan to a date: what to drill on which day until a lesson, an exam or a concert."""

from __future__ import annotations

import time
from argparse import Namespace
from collections.abc import Iterator, Sequence
from datetime import date

from coach.cli.errors import CannotDo
from coach.cli.terminal import say, waiting_line
from coach.coaching.planning import (
    BarStanding,
    DatePlan,
    Day,
    Diary,
    PlannedDay,
    Schedule,
    minutes_that_fit,
    schedule,
    stand_bars,
    stretches,
)
from coach.record.calendar import day_of
from coach.record.folder import RecordError
from coach.record.pieces import piece_key
from coach.record.progress import MOST_REPETITIONS
from coach.record.store import Store
from coach.score.model import Score

USUAL_MIN = 20.0
"""Minutes a day for one piece, where nothing else is said. Own choice."""
FARTHEST_DAYS = 400
"""A plan reaches no farther: a year and some weeks."""
TOLD_DAYS = 21
"""Days that are told one by one; of later ones only those on which something is begun."""
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def plan_piece(options: Namespace) -> int:
    """Say the plan to a date, and keep the date; without one, say the plan that is kept."""
    from coach.cli.open_score import open_piece
    from coach.cli.storage import Storage, close_record

    with waiting_line() as tell:
        score = open_piece(options.score, data=options.data, on_progress=tell)
    piece, storage = piece_key(score, options.score), Storage(options)
    storage.bring_up_to_date()
    store = storage.store
    assert store
    try:
        if options.forget:
            store.save_plan(piece, None)
            say(f"{score.title}: the plan is forgotten; what was played stays.")
            return 0
        today = day_of(time.time())
        asked = _asked(options, today)
        kept = store.plan(piece)
        if asked is None and kept is None:
            raise CannotDo(f"There is no plan yet: coach plan {options.score} --by 2026-12-31")
        minutes = options.minutes or (kept.minutes if kept else USUAL_MIN)
        plan = DatePlan(asked if asked is not None else kept.by_day if kept else today, minutes)
        if plan.by_day <= today:
            raise CannotDo("The day of the plan has come: name a later one with --by.")
        if plan != kept:
            store.save_plan(piece, plan)
        bars, played_min = stand_today(store, score, today)
        say("\n".join(describe_plan(score, bars, plan, today, played_min)))
    except RecordError as error:
        raise CannotDo(str(error)) from error
    finally:
        close_record(store)
    return 0


def _asked(options: Namespace, today: Day) -> Day | None:
    if options.by is None:
        return None
    try:
        by_day = date.fromisoformat(options.by).toordinal()
    except ValueError:
        raise CannotDo(f"{options.by} is no day: write it as 2026-12-31.") from None
    if by_day <= today:
        raise CannotDo(f"{options.by} is not in the future: a plan needs a day to practise.")
    if by_day - today > FARTHEST_DAYS:
        raise CannotDo(f"{options.by} is too far away: a plan reaches a year ahead.")
    return by_day


def stand_today(store: Store, score: Score, today: Day) -> tuple[list[BarStanding], float]:
    """How the bars stand, and the minutes that were practised today. Raises RecordError."""
    played = store.played(piece_key(score), MOST_REPETITIONS)
    diary = Diary(score, played, day_of)
    minutes = sum(one.minutes for one in diary.days if one.day == today)
    return stand_bars(diary, played, day_of), minutes


def describe_plan(
    score: Score, bars: Sequence[BarStanding], plan: DatePlan, today: Day, played_min: float
) -> Iterator[str]:
    """The plan for people."""
    found = schedule(bars, plan, today, played_min)
    days = plan.by_day - today
    left = "1 day" if days == 1 else f"{days} days"
    yield f"{score.title}, by {_date_words(plan.by_day)}: {left}, {plan.minutes:g} minutes a day."
    yield from _describe_lack(score, bars, plan, found, today)
    yield ""
    for day in found.days:
        is_told = day.day < today + TOLD_DAYS or day.begin or day.is_whole
        if is_told and (day.begin or day.again or day.is_whole):
            yield from _describe_day(score, day, today)
    yield f"{_date_words(plan.by_day):11} the day itself: once through, slowly, and no more"
    if days > TOLD_DAYS:
        yield f"After {_date_words(today + TOLD_DAYS - 1)} only days with something new are listed."
    yield ""
    yield "Ask again on any day: the plan is made anew from how the bars stand then."


def _describe_lack(
    score: Score, bars: Sequence[BarStanding], plan: DatePlan, found: Schedule, today: Day
) -> Iterator[str]:
    """What has no room, said first; and what would have."""
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


def _describe_day(score: Score, day: PlannedDay, today: Day) -> Iterator[str]:
    parts = []
    if day.begin:
        parts.append(f"drill {name_bars(score, day.begin)}")
    if day.again:
        parts.append(f"again {name_bars(score, day.again)}")
    if day.is_whole:
        parts.append("the whole piece, as you will play it")
    name = "today" if day.day == today else _date_words(day.day)
    yield f"{name:11} {'; '.join(parts)} ({max(1, round(day.minutes))} min)"


def name_bars(score: Score, bars: Sequence[int]) -> str:
    """``bars 1 to 4 and bar 9``."""
    words = [score.bars[low].words_to(score.bars[high]) for low, high in stretches(bars)]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _date_words(day: Day) -> str:
    """``Sat 12 Dec``."""
    when = date.fromordinal(day)
    return f"{_DAYS[when.weekday()]} {when.day} {_MONTHS[when.month - 1]}"
