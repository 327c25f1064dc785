"""A plan to a date: what to drill on which day until a lesson, an exam or a concert."""

from __future__ import annotations

import time
from argparse import Namespace
from collections.abc import Iterator, Sequence
from datetime import date
from typing import TYPE_CHECKING

from coach.cli.date_plans import DONE, date_words, describe_day, find_today, name_bars, stand_today
from coach.cli.errors import CannotDo
from coach.cli.terminal import say, waiting_line
from coach.coaching.planning import (
    BarStanding,
    DatePlan,
    Day,
    Schedule,
    minutes_that_fit,
    schedule,
)
from coach.record.calendar import day_of
from coach.record.folder import RecordError
from coach.record.pieces import piece_key
from coach.score.model import Score
from coach.score.words import count_of

if TYPE_CHECKING:
    from coach.cli.storage import Storage

USUAL_MIN = 20.0
"""Minutes a day for one piece, where nothing else is said. Own choice."""
FARTHEST_DAYS = 400
"""A plan reaches no farther: a year and some weeks."""
TOLD_DAYS = 21
"""Days that are told one by one; of later ones only those on which something is begun."""


def plan_piece(options: Namespace) -> int:
    """Say the plan to a date, and keep the date; without one, say the plan that is kept."""
    from coach.cli.open_score import open_piece
    from coach.cli.storage import Storage, close_record

    today = day_of(time.time())
    asked = _asked(options, today)
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
        kept = store.plan(piece)
        if asked is None and kept is None:
            raise CannotDo(f"There is no plan yet: coach plan {options.score} --by 2026-12-31")
        minutes = options.minutes or (kept.minutes if kept else USUAL_MIN)
        plan = DatePlan(asked if asked is not None else kept.by_day if kept else today, minutes)
        if plan.by_day <= today:
            raise CannotDo("The day of the plan has come: name a later one with --by.")
        if plan != kept:
            store.save_plan(piece, plan)
        if options.play:
            return _play_today(options, storage, plan, score)
        bars, played_min = stand_today(store, piece, score, today)
        say("\n".join(describe_plan(score, bars, plan, today, played_min)))
    except RecordError as error:
        raise CannotDo(str(error)) from error
    finally:
        close_record(store)
    return 0


def _play_today(options: Namespace, storage: Storage, plan: DatePlan, score: Score) -> int:
    """At the piano: what the plan asks for today."""
    from coach.cli.commands.practice import practise
    from coach.screens.interfaces import Errand

    assert storage.store
    piece = piece_key(score, options.score)
    if find_today(storage.store, piece, plan, score, time.time()).is_done:
        say(f"{DONE} {count_of(plan.by_day - day_of(time.time()), 'day')} to its date.")
        return 0
    return practise(options, options.score, Errand.PLAN, storage)


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


def describe_plan(
    score: Score, bars: Sequence[BarStanding], plan: DatePlan, today: Day, played_min: float
) -> Iterator[str]:
    """The plan for people."""
    found = schedule(bars, plan, today, played_min)
    days = plan.by_day - today
    left = count_of(days, "day")
    yield f"{score.title}, by {date_words(plan.by_day)}: {left}, {plan.minutes:g} minutes a day."
    yield from _describe_lack(score, bars, plan, found, today)
    yield ""
    for day in found.days:
        is_told = day.day < today + TOLD_DAYS or day.begin or day.is_whole
        if is_told and (day.begin or day.again or day.is_whole):
            name = "today" if day.day == today else date_words(day.day)
            yield f"{name:11} {describe_day(score, day)}"
    yield f"{date_words(plan.by_day):11} the day itself: once through, slowly, and no more"
    if days > TOLD_DAYS:
        yield f"After {date_words(today + TOLD_DAYS - 1)} only days with something new are listed."
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
