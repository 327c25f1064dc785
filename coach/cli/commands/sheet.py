"""``coach sheet FILE``: a teacher's practice sheet, checked and followed; or written from a
session."""

from __future__ import annotations

import os
from argparse import Namespace
from pathlib import Path

from coach.cli.errors import CannotDo
from coach.cli.open_score import open_piece
from coach.cli.practice_sheet import (
    OpenSheet,
    ProposedPassage,
    held_on,
    open_sheet,
    order_tasks,
    sheet_lines,
    write_sheet,
)
from coach.cli.storage import Storage
from coach.cli.terminal import say, waiting_line
from coach.coaching.planning import SpotStory, bars_around
from coach.coaching.wording import move_words
from coach.private_files import write_private
from coach.record.calendar import day_of
from coach.record.pieces import piece_key
from coach.record.progress import MOST_REPETITIONS, gather_progress
from coach.score.model import Hands, Score

MOST_PASSAGES = 8
"""Passages of a sheet that is written from a session, the weakest. Own choice: a week's work."""
SLOWER = 0.8
"""Share of the piece's tempo at which a weak passage is asked for. Own choice: the teacher's to
change."""


def run_sheet(options: Namespace) -> int:
    """Check the sheet and follow it; ``--check`` only says it, ``--from-session`` writes it."""
    storage = Storage(options)
    if options.from_session is not None:
        return _write(options, storage)
    with waiting_line() as tell:
        opened = open_sheet(options.file, options.data, tell)
    storage.bring_up_to_date()
    held = _held(opened, storage)
    if options.check:
        say("\n".join(sheet_lines(opened, held)))
        return 0
    from coach.cli.wiring import Errand, Start, run

    options.sheet = opened
    options.sheet_tasks = order_tasks(opened.tasks, held)
    return run(options, Start(opened.path, Errand.DRILL), storage)


def _held(opened: OpenSheet, storage: Storage) -> list[int]:
    """When each of its passages last held."""
    if storage.store is None:
        return [0] * len(opened.tasks)
    played = storage.store.played(piece_key(opened.score), MOST_REPETITIONS)
    return [held_on(task, played, day_of) for task in opened.tasks]


def _write(options: Namespace, storage: Storage) -> int:
    """A sheet of what was weak when the piece was last played."""
    file, path = options.file, options.from_session
    if file.exists():
        raise CannotDo(f"{file} is there already; name another file for the sheet.")
    with waiting_line() as tell:
        score = open_piece(path, data=options.data, on_progress=tell)
    weak = (
        gather_progress(storage.store, piece_key(score), score).diary.weak()
        if storage.store
        else ()
    )
    if not weak:
        raise CannotDo(f"Nothing of {score.title or path.name} was weak when it was last played.")
    named = os.path.relpath(path.absolute(), file.absolute().parent)
    text = write_sheet(
        score.title or path.stem,
        Path(named).as_posix(),
        (_propose(score, story) for story in weak[:MOST_PASSAGES]),
    )
    try:
        write_private(file, text)
    except OSError as error:
        raise CannotDo(
            f"{file} can't be written ({error.strerror or error}); name another file."
        ) from error
    say(f"The sheet is in {file}: change it as you like, then coach sheet {file}")
    return 0


def _propose(score: Score, story: SpotStory) -> ProposedPassage:
    """The bars around a weak spot, at a tempo below the piece's own."""
    window, today = bars_around(score, story.move), story.days[-1]
    first, last = score.bars_of(window.start_quarters, window.end_quarters)
    numbers = [bar.number or f"#{bar.index + 1}" for bar in (first, last)]
    qpm = SLOWER * score.tempo_at(window.start_quarters)
    hands = "both" if window.hands is Hands.TOGETHER else window.hands.value.lower()
    remark = f"{move_words(score, story.move)}: failed {today.failed} of {today.tries} last time."
    bars = "-".join(dict.fromkeys(numbers))
    return ProposedPassage(bars, hands, qpm / float(first.metre.beat_quarters), remark)
