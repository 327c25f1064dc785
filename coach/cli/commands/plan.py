"""A plan to a date: what to drill on which day until a lesson, an exam or a concert."""

from __future__ import annotations

import shutil
import time
from argparse import Namespace
from datetime import date

from coach.cli.errors import CannotDo
from coach.cli.terminal import say, waiting_line
from coach.coaching.planning import DatePlan, Day
from coach.record.calendar import day_of
from coach.record.folder import RecordError
from coach.record.pieces import piece_key
from coach.record.progress import gather_progress
from coach.screens.diary_text import Look, text_of
from coach.screens.plan_text import plan_heading, plan_lines

USUAL_MIN = 20.0
"""Minutes a day for one piece, where nothing else is said. Own choice."""
FARTHEST_DAYS = 400
"""A plan reaches no farther: a year and some weeks."""


def plan_piece(options: Namespace) -> int:
    """Say the plan to a date, and keep the date; without one, say the plan that is kept."""
    from coach.cli.commands.practice import practise
    from coach.cli.open_score import open_piece
    from coach.cli.storage import Storage, close_record
    from coach.screens.interfaces import Errand

    now_s = time.time()
    today = day_of(now_s)
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
            return practise(options, options.score, Errand.PLAN, storage)
        found, look = (
            gather_progress(store, piece, score, now_s),
            Look(shutil.get_terminal_size().columns - 1),
        )
        say(f"{score.title}, {plan_heading(found, plan)}.")
        say(text_of(plan_lines(found, plan, look)))
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
