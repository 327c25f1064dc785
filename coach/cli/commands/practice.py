"""The commands with a screen: home, drill, setup, demo and warmup."""

from __future__ import annotations

from argparse import Namespace

from coach.cli.errors import CannotDo
from coach.cli.storage import Storage
from coach.cli.terminal import say, waiting_line


def home(options: Namespace) -> int:
    """The home screen."""
    from coach.cli.wiring import Start, run

    storage = Storage(options)
    storage.bring_up_to_date()
    return run(options, Start(), storage)


def drill(options: Namespace) -> int:
    """Practise the piece; a score that does not open is said before any screen is."""
    from coach.cli.open_score import goal_from, open_piece
    from coach.cli.wiring import Errand, Start, run

    with waiting_line() as tell:
        score = open_piece(options.score, options.move, data=options.data, on_progress=tell)
    goal_from(options, score)
    storage = Storage(options)
    storage.bring_up_to_date()
    return run(options, Start(options.score, Errand.DRILL), storage)


def set_up(options: Namespace) -> int:
    """The piano set up, then the home screen."""
    from coach.cli.wiring import Start, run

    storage = Storage(options)
    storage.bring_up_to_date()
    return run(options, Start(sets_up=True), storage)


def demo(options: Namespace) -> int:
    """A simulated pianist plays a sample score, or the one that is named."""
    from coach.cli.score_library import demo_score
    from coach.cli.wiring import Errand, Start, run

    path = options.score or demo_score()
    if path is None:
        raise CannotDo("The sample scores are not here; name a score: coach demo SCORE.")
    if options.score:
        from coach.cli.open_score import open_piece

        with waiting_line() as tell:
            open_piece(path, data=options.data, on_progress=tell)
    return run(options, Start(path, Errand.DEMO), Storage(options, keeps=False))


def warmup(options: Namespace) -> int:
    """The weak spots of the last session; ``--list`` only says them."""
    from coach.cli.score_library import HomeLibrary
    from coach.cli.wiring import Start, run

    storage = Storage(options)
    storage.bring_up_to_date()
    library = HomeLibrary(storage)
    items = library.warm_ups()
    if not items and (gone := library.list_missing_files()):
        _say_notices(storage)
        raise CannotDo(
            f"There are weak spots, but {gone[0]} is gone; open it where it is now: coach drill."
        )
    if not items:
        played = storage.store is not None and storage.store.pieces()
        found = "Nothing was weak when you last played" if played else "Nothing was played yet"
        say(f"{found}. Open a piece: coach drill SCORE.")
        _say_notices(storage)
        return 0
    if options.list:
        from coach.cli.warmup import warm_up_lines

        say("\n".join(warm_up_lines(items, storage.store, options.data)))
        _say_notices(storage)
        return 0
    return run(options, Start(items[0].path, items[0].errand), storage)


def _say_notices(storage: Storage) -> None:
    """What there is to say of record and settings, where no screen shows it."""
    from coach.cli.terminal import warn

    for notice in storage.notices():
        warn(notice)
