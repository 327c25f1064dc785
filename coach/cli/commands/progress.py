"""``coach progress``: the diary as text, today or as it stood on an earlier day."""

from __future__ import annotations

import shutil
from argparse import Namespace
from collections.abc import Callable
from datetime import date
from pathlib import Path

from coach.cli.errors import CannotDo
from coach.cli.open_score import open_piece
from coach.cli.terminal import say, waiting_line
from coach.record.folder import FILE, named_folder
from coach.record.pieces import piece_key
from coach.record.progress import PieceProgress, gather_progress
from coach.record.store import Store
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


def open_progress(
    wanted: Path | None, data: Path | None, tell: Callable[[str], None]
) -> list[PieceProgress]:
    """The progress of the piece that is named, or of all that can still be opened.

    ``wanted`` is a score's file. Raises CannotDo where there is nothing to show.
    """
    folder = named_folder(data)
    if not (folder / FILE).exists():
        raise CannotDo("Nothing was played yet: open a piece with coach drill SCORE.")
    store = Store(folder)
    try:
        if wanted is not None:
            score = open_piece(wanted, data=data, on_progress=tell)
            piece = piece_key(score, wanted)
            if not store.repetitions(piece, 1):
                raise CannotDo(f"{piece.title} was not played yet: coach drill {wanted}")
            return [gather_progress(store, piece, score)]
        found = []
        for seen in store.pieces():
            path = Path(seen.piece.path)
            if seen.repetitions and path.is_file():
                score = open_piece(path, data=data, on_progress=tell)
                if piece_key(score).key == seen.piece.key:
                    found.append(gather_progress(store, seen.piece, score))
        if not found:
            raise CannotDo("No piece that was played can be opened; name its score.")
        return found
    finally:
        store.close()


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
