"""The commands with a screen: home, drill, demo and warmup."""

from __future__ import annotations

from argparse import Namespace

from coach.cli.errors import CannotDo
from coach.cli.storage import Keeping
from coach.cli.terminal import say, waiting_line


def home(options: Namespace) -> int:
    """The home screen."""
    from coach.cli.wiring import Start, run

    keeping = Keeping(options)
    keeping.bring_up_to_date()
    return run(options, Start(), keeping)


def drill(options: Namespace) -> int:
    """Practise the piece; a score that does not open is said before any screen is."""
    from coach.cli.open_score import goal_from, open_piece
    from coach.cli.wiring import Errand, Start, run

    with waiting_line() as tell:
        score = open_piece(options.score, options.move, data=options.data, on_progress=tell)
    goal_from(options, score)
    keeping = Keeping(options)
    keeping.bring_up_to_date()
    return run(options, Start(options.score, Errand.DRILL), keeping)


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
    return run(options, Start(path, Errand.DEMO), Keeping(options, keeps=False))


def warmup(options: Namespace) -> int:
    """The weak spots of the last session; ``--list`` only says them."""
    from coach.cli.score_library import HomeLibrary
    from coach.cli.wiring import Start, run

    keeping = Keeping(options)
    keeping.bring_up_to_date()
    library = HomeLibrary(keeping)
    items = library.warm_ups()
    if not items and (gone := library.missing()):
        _say_notices(keeping)
        raise CannotDo(
            f"There are weak spots, but {gone[0]} is gone; open it where it is now: coach drill."
        )
    if not items:
        played = keeping.store is not None and keeping.store.pieces()
        found = "Nothing was weak when you last played" if played else "Nothing was played yet"
        say(f"{found}. Open a piece: coach drill SCORE.")
        _say_notices(keeping)
        return 0
    if options.list:
        from coach.cli.warmup import warm_up_lines

        say("\n".join(warm_up_lines(items, keeping.store, options.data)))
        _say_notices(keeping)
        return 0
    return run(options, Start(items[0].path, items[0].errand), keeping)


def _say_notices(keeping: Keeping) -> None:
    """What there is to say of record and settings, where no screen shows it."""
    from coach.cli.terminal import warn

    for notice in keeping.notices():
        warn(notice)
