"""``coach progress``: the diary as text, today or as it stood on an earlier day."""

from __future__ import annotations

import shutil
from argparse import Namespace
from datetime import date

from coach.cli.errors import CannotDo
from coach.cli.progress import open_progress
from coach.cli.terminal import say, waiting_line
from coach.record.progress import PieceProgress
from coach.screens.diary_text import (
    Line,
    Look,
    day_words,
    days_page,
    line,
    map_page,
    passages_page,
    spot_words,
    text_of,
    wrap,
)
from coach.screens.plan_text import plan_page

MOST_STORIES = 5
"""Spots whose stories are told, the worst."""


def show_progress(options: Namespace) -> int:
    """Say how the piece, or each, stands."""
    until = _day(options.on)
    look = Look(shutil.get_terminal_size().columns - 1, options.ascii)
    with waiting_line() as tell:
        pieces = open_progress(options.score, options.data, tell)
    for at, one in enumerate(pieces):
        say(text_of([*([line()] if at else []), *progress_lines(one, until, look)]))
    return 0


def _day(text: str | None) -> int | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text).toordinal()
    except ValueError:
        raise CannotDo(f"{text} is no day; write it as 2026-03-14.") from None


def progress_lines(one: PieceProgress, asked: int | None, look: Look) -> list[Line]:
    """Everything about one piece, as it stood when a day was over; the last one if not given."""
    diary = one.diary
    days = [day.day for day in diary.days if asked is None or day.day <= asked]
    if not days:
        return [line(one.title), line("Nothing was played of it by then.")]
    until = days[-1]
    lines = [line(f"{one.title}, {day_words(until)}"), line(), *map_page(diary, until, look)]
    lines += [line(), *days_page(diary, until, look)]
    lines += [line(), *passages_page(diary, until, look)]
    for story in diary.spots(until)[:MOST_STORIES]:
        lines += [line(), *(line(text) for text in wrap(spot_words(diary.score, story), look))]
    return lines + ([line(), *plan_page(one, look)] if one.plan and asked is None else [])
