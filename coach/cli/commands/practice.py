"""The commands with a screen: home, drill, setup, demo and warmup."""

from __future__ import annotations

from argparse import Namespace
from pathlib import Path
from typing import TYPE_CHECKING

from coach.cli.errors import CannotDo
from coach.cli.storage import Storage
from coach.cli.terminal import say, waiting_line

if TYPE_CHECKING:
    from coach.screens.interfaces import Errand


def home(options: Namespace) -> int:
    """The home screen."""
    from coach.cli.wiring import Start, run

    storage = Storage(options)
    storage.bring_up_to_date()
    return run(options, Start(), storage)


def drill(options: Namespace) -> int:
    """Practise the piece; a score that does not open is said before any screen is."""
    from coach.cli.open_score import goal_from, open_piece
    from coach.cli.wiring import Errand

    with waiting_line() as tell:
        score = open_piece(
            options.score,
            options.move,
            data=options.data,
            part=options.part,
            repeats=options.repeats,
            on_progress=tell,
        )
    goal_from(options, score)
    storage = Storage(options)
    storage.bring_up_to_date()
    return practise(options, options.score, Errand.DRILL, storage)


def set_up(options: Namespace) -> int:
    """The piano set up, then the home screen."""
    from coach.cli.wiring import Start, run

    storage = Storage(options)
    storage.bring_up_to_date()
    return run(options, Start(sets_up=True), storage)


def demo(options: Namespace) -> int:
    """A simulated pianist plays a sample score, or the one that is named."""
    from coach.cli.score_library import demo_score
    from coach.cli.wiring import Errand

    path = options.score or demo_score()
    if path is None:
        raise CannotDo("The sample scores are not here; name a score: coach demo SCORE.")
    if options.score:
        from coach.cli.open_score import open_piece

        with waiting_line() as tell:
            open_piece(path, data=options.data, on_progress=tell)
    return practise(options, path, Errand.DEMO, Storage(options, keeps=False))


def warmup(options: Namespace) -> int:
    """The weak spots that are due; ``--list`` only says them."""
    from coach.cli.parser import WARM_UP_MIN
    from coach.cli.warmup import find_due, list_warm_up
    from coach.cli.wiring import Errand

    storage = Storage(options)
    storage.bring_up_to_date()
    due = find_due(storage.store)
    if not due.pieces and due.missing:
        _say_notices(storage)
        raise CannotDo(
            f"There are weak spots, but {due.missing[0]} is gone; open it where it is now: "
            "coach drill."
        )
    if not due.pieces:
        played = storage.store is not None and storage.store.pieces()
        found = "Nothing is due today" if played else "Nothing was played yet"
        say(f"{found}. Open a piece: coach drill SCORE.")
        _say_notices(storage)
        return 0
    if options.list:
        minutes = storage.settings.warm_up_min or WARM_UP_MIN
        say("\n".join(list_warm_up(due, minutes, options.data)))
        _say_notices(storage)
        return 0
    return practise(options, due.pieces[0].path, Errand.WARM_UP, storage)


def practise(options: Namespace, path: Path, errand: Errand, storage: Storage) -> int:
    """At the screen, or in lines of text where those were asked for."""
    if options.plain:
        from coach.cli.plain import drill_plainly

        return drill_plainly(options, path, errand, storage)
    from coach.cli.wiring import Start, run

    return run(options, Start(path, errand), storage)


def _say_notices(storage: Storage) -> None:
    """What there is to say of record and settings, where no screen shows it."""
    from coach.cli.terminal import warn

    for notice in storage.notices():
        warn(notice)
