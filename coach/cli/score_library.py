"""What the home screen offers: the warm-up, the last piece, and the scores that are at hand."""

from __future__ import annotations

import time
from collections.abc import Collection, Mapping, Sequence
from contextlib import suppress
from os.path import isfile  # False, and no error, where a folder above may not be looked into
from pathlib import Path
from typing import TYPE_CHECKING

from coach.cli.parser import WARM_UP_MIN
from coach.cli.storage import Storage
from coach.record.calendar import day_of
from coach.record.folder import RecordError
from coach.score.formats import SUFFIXES, ScoreError
from coach.screens.interfaces import Errand, HomeItem

if TYPE_CHECKING:
    from coach.coaching.planning import DatePlan
    from coach.record.pieces import PieceKey, PieceSummary
    from coach.record.store import Store

MOST_PLANS = 3
"""Pieces whose plan is looked at for home, those with the nearest date. Own choice: nobody prepares
more at once, and each costs home some milliseconds."""
_SMALL = ("a", "an", "and", "at", "in", "of", "on", "the", "to")
"""Words that a title has in small letters, but for the first."""


class HomeLibrary:
    """The lines of the home screen, from the record and the folders."""

    def __init__(self, storage: Storage, folder: Path | None = None) -> None:
        self._storage, self._folder = storage, folder or Path.cwd()

    def folder(self) -> Path:
        """Where to begin looking for another score."""
        return self._folder

    def items(self) -> Sequence[HomeItem]:
        """What a pianist wants next first, then the pieces of the record, then the sample scores.

        The warm-up opens a day, then comes what the plans ask for today; once something was played
        today it is the plans' and the last piece's turn. Of a record that can't be read nothing is
        offered: what is wrong with it is said elsewhere.
        """
        try:
            played = self._list_played()
        except RecordError:
            played = ()
        seen = {item.path for item in played}
        return (*played, *(item for item in samples() if item.path not in seen))

    def _list_played(self) -> tuple[HomeItem, ...]:
        if (store := self._storage.store) is None:
            return ()
        pieces, plans = store.pieces(), store.plans()
        warm_up, planned = self.warm_ups(), self._list_todays_parts(store, pieces, plans)
        used = _list_used(pieces, plans, {item.path for item in planned})
        if pieces and _was_played_today(store, pieces[0].piece):
            return (*planned, *used[:1], *warm_up, *used[1:])
        return (*warm_up, *planned, *used)

    def warm_ups(self) -> tuple[HomeItem, ...]:
        """The warm-up over all pieces, where anything is due; it begins with the worst spot."""
        from coach.cli.warmup import find_due

        due = find_due(self._storage.store)
        if not due.pieces:
            return ()
        minutes = self._storage.settings.warm_up_min or WARM_UP_MIN
        path = due.pieces[0].path
        return (HomeItem(Errand.WARM_UP, "Warm-up", due.describe(minutes), path),)

    def _list_todays_parts(
        self, store: Store, pieces: Sequence[PieceSummary], plans: Plans
    ) -> tuple[HomeItem, ...]:
        """What the plans to a date ask for today, and is not done yet.

        Of a score that would have to be read first the bars are not named: home does not wait.
        """
        out = []
        now_s = time.time()
        for piece, plan in _list_planned(pieces, plans, day_of(now_s)):
            from coach.cli.open_score import find_piece
            from coach.cli.passages import find_today
            from coach.score.hand_moves import MoveError

            path, words = Path(piece.path), f"what the plan asks for{_days_left(plan)}"
            with suppress(ScoreError, MoveError, RecordError):  # said where it is opened
                score = find_piece(path, self._storage.data)
                if score and (part := find_today(store, piece, score, now_s)):
                    if part.is_done:
                        continue
                    words = part.describe()
            out.append(HomeItem(Errand.PLAN, f"Today: {piece.title}", words, path))
        return tuple(out)


Plans = Mapping[str, "DatePlan"]
"""By the key of a piece until when it is to be learnt."""


def _was_played_today(store: Store, piece: PieceKey) -> bool:
    return any(_days_ago(one.at_s) == "today" for one in store.repetitions(piece, newest=1))


def _list_planned(
    pieces: Sequence[PieceSummary], plans: Plans, today: int
) -> list[tuple[PieceKey, DatePlan]]:
    """The pieces whose date is ahead, the nearest date first."""
    ahead = [
        (one.piece, plan)
        for one in pieces
        if (plan := plans.get(one.piece.key)) and plan.by_day > today and isfile(one.piece.path)
    ]
    return sorted(ahead, key=lambda one: one[1].by_day)[:MOST_PLANS]


def _list_used(
    pieces: Sequence[PieceSummary], plans: Plans, planned: Collection[Path]
) -> tuple[HomeItem, ...]:
    """The pieces of the record; how long it is to its date where that isn't said already."""
    shown = [
        one
        for at, one in enumerate(pieces)
        if isfile(one.piece.path) or (at == 0 and one.piece.path)
    ]
    return tuple(
        HomeItem(
            Errand.GO_ON,
            one.piece.title,
            _where_it_stands(one, at)
            + ("" if Path(one.piece.path) in planned else _days_left(plans.get(one.piece.key))),
            Path(one.piece.path),
        )
        for at, one in enumerate(shown)
    )


def _where_it_stands(one: PieceSummary, at: int) -> str:
    """What to say of the piece that was open so many pieces ago."""
    if not isfile(one.piece.path):
        return f"its file is gone from {Path(one.piece.path).parent}: find it anew with f"
    if not one.repetitions:
        return "not played yet"
    ago = _days_ago(one.used_at_s)
    return f"last played {ago}" if at else f"go on where you stopped {ago}"


def _days_left(plan: DatePlan | None) -> str:
    """How long it is to the day that a piece is planned for; "" where there is none ahead."""
    days = plan.by_day - day_of(time.time()) if plan else 0
    return f"; {days} {'day' if days == 1 else 'days'} to its date" if days > 0 else ""


def samples_folder() -> Path:
    """In the package where it was installed by itself, beside it in the project's own folder."""
    from importlib.resources import files  # only here: it takes milliseconds of every start

    package = Path(str(files("coach")))
    installed = package / "samples"
    return installed if installed.is_dir() else package.parent / "sample_scores"


def samples() -> tuple[HomeItem, ...]:
    """The sample scores, the easiest first (their file names are numbered so)."""
    folder = samples_folder()
    if not folder.is_dir():
        return ()
    files = sorted(path for path in folder.iterdir() if path.suffix in SUFFIXES)
    return tuple(HomeItem(Errand.DRILL, _title(path), "sample score", path) for path in files)


def demo_score() -> Path | None:
    """The piece that the simulated pianist plays: easy enough to follow by eye, not a first one."""
    paths = [item.path for item in samples()]
    return paths[1] if len(paths) > 1 else None


def _title(path: Path) -> str:
    words = path.stem.replace("_", " ").replace("-", " ").split()
    named = words[1:] if words and words[0].isdigit() else words
    capital = [one if at and one in _SMALL else one.title() for at, one in enumerate(named)]
    return " ".join(capital)


def _days_ago(at_s: float) -> str:
    """In words, by days that end at four in the morning; what a clock that was wrong put into the
    future is of today."""
    now_s = time.time()
    days = day_of(now_s) - day_of(min(at_s, now_s))
    return ("today", "yesterday")[days] if days < 2 else f"{days} days ago"
