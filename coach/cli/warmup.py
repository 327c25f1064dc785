"""A warm-up over all pieces with spots that are due: their scores, opened ahead, and in words."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import ceil
from os.path import isfile  # False, and no error, where a folder above may not be looked into
from pathlib import Path

from coach.cli.open_score import open_piece
from coach.coaching.planning import (
    DueSpot,
    PlanRow,
    RowState,
    WarmUpItem,
    WarmUpRound,
    WeakSpot,
    choose_spots,
    due_spot,
    dues_of,
    list_due,
    plan_warm_up,
    shorten_after_away,
    sort_by_urgency,
)
from coach.coaching.wording import HANDS, move_words, stretch_words
from coach.record.calendar import day_of
from coach.record.folder import RecordError
from coach.record.pieces import PieceKey, piece_key
from coach.record.store import Store
from coach.score.formats import ScoreError
from coach.score.hand_moves import MoveError
from coach.score.model import Score

RECENT_S = 45 * 86400.0
"""A piece that lay so long before the piano was last played is not warmed up: it was put away. Own
choice, because a settled spot comes back after a month or so."""

OpenScore = Callable[[Path], Score]


@dataclass(slots=True)
class WarmUpPiece:
    """One piece of a warm-up."""

    piece: PieceKey
    path: Path
    due: tuple[WeakSpot, ...]
    """The spots that are due, the worst first."""
    score: Score | None = None
    is_gone: bool = False
    """Its score can't be opened."""


@dataclass(frozen=True, slots=True)
class DueToday:
    """All that is due, over all pieces."""

    pieces: tuple[WarmUpPiece, ...]
    """Those with a spot that is due, the worst first."""
    dues: tuple[DueSpot, ...]
    """Their spots, the worst first; few after two weeks away."""
    of: int
    """How many there were in all."""
    missing: tuple[str, ...] = ()
    """Files of pieces with due spots that are not where they were."""

    def describe(self, minutes: float) -> str:
        """What a warm-up of so many minutes would be, for the home screen."""
        chosen = choose_spots(self.dues, 60 * minutes)
        takes_min = max(1, ceil(sum(self.dues[at].left_s for at in chosen) / 60 - 0.25))
        pieces = len({self.dues[at].piece for at in chosen})
        over = f" in {pieces} pieces" if pieces > 1 else ""
        long = f"about {takes_min} {'minute' if takes_min == 1 else 'minutes'}"
        if len(self.dues) < self.of:
            return f"a short list after the time away: {_spots(len(chosen))}{over}, {long}"
        if len(chosen) < len(self.dues):
            return f"the worst {len(chosen)} of {_spots(len(self.dues))}{over}, {minutes:g} minutes"
        return f"{_spots(len(chosen))}{over}, {long}"


def find_due(store: Store | None, now_s: float | None = None) -> DueToday:
    """What is due now, over all pieces that were played of late. Raises RecordError."""
    now_s = time.time() if now_s is None else now_s
    if store is None:
        return DueToday((), (), 0)
    today, played_on = day_of(now_s), 0
    found: list[WarmUpPiece] = []
    missing: list[str] = []
    since_s, paths = 0.0, set[str]()
    for seen in store.pieces():
        piece = seen.piece
        since_s = since_s or seen.used_at_s - RECENT_S
        if seen.used_at_s < since_s:
            break
        if not piece.path or piece.path in paths:  # a newer version of the same score
            continue
        paths.add(piece.path)
        spots = store.weak_spots(piece)
        played_on = max([played_on, *(spot.played_on for spot in spots)])
        if due := list_due(spots, today, now_s):
            if isfile(piece.path):
                found.append(WarmUpPiece(piece, Path(piece.path), due))
            else:
                missing.append(piece.path)
    every = [(one, spot) for one in found for spot in one.due]
    order = sort_by_urgency([spot for _, spot in every], now_s)
    dues = [due_spot(every[at][0].piece.key, every[at][1]) for at in order]
    kept = shorten_after_away(dues, today, played_on)
    ranked = list(dict.fromkeys(due.piece for due in kept))
    pieces = sorted(
        (one for one in found if one.piece.key in ranked),
        key=lambda one: ranked.index(one.piece.key),
    )
    for one in pieces:
        one.due = tuple(due.spot for due in kept if due.piece == one.piece.key)
    return DueToday(tuple(pieces), tuple(kept), len(dues), tuple(missing))


class WarmUpPieces:
    """One warm-up, from the piece that it begins with to the last."""

    def __init__(
        self,
        first: WarmUpPiece,
        due: DueToday,
        minutes: float,
        open_score: OpenScore,
        store: Store | None = None,
    ) -> None:
        """``first`` is open. Raises ValueError where nothing in it is due."""
        assert first.score
        self._today = day_of(time.time())
        spots = plan_warm_up(first.score, first.due, self._today)
        if not spots:
            raise ValueError("Nothing of this piece is due today: go on with it.")
        others = [one for one in due.pieces if one.path != first.path]
        self._pieces = {one.piece.key: one for one in (first, *others)}
        self._open_score, self._store = open_score, store
        keys = {one.piece.key for one in others}
        dues = [*dues_of(first.piece.key, spots), *(one for one in due.dues if one.piece in keys)]
        order = sort_by_urgency([one.spot for one in dues], time.time())
        begin = next(at for at in order if dues[at].piece == first.piece.key)
        order = [begin, *(at for at in order if at != begin)]  # what is open is begun with
        self.round = WarmUpRound([dues[at] for at in order], minutes, self._is_ready)
        self._spots: dict[str, dict[int, WarmUpItem]] = {}
        self._place(first.piece.key, spots)
        if others:
            threading.Thread(target=self._open_others, name="warm-up", daemon=True).start()

    def piece(self, key: str) -> WarmUpPiece:
        """One of its pieces."""
        return self._pieces[key]

    def next_piece(self, now_s: float) -> WarmUpPiece | None:
        """The piece whose turn it is; None where the warm-up is over."""
        at = self.round.now
        due = self.round.choose(now_s) if at is None else self.round.dues[at]
        return self._pieces[due.piece] if due else None

    def spots(self, key: str) -> dict[int, WarmUpItem]:
        """The spots of a piece that is open, by their places in the round."""
        if key not in self._spots:
            one = self._pieces[key]
            assert one.score
            self._find_anew(one, one.score)
            self._place(key, plan_warm_up(one.score, one.due, self._today))
        return self._spots[key]

    def _place(self, key: str, items: Sequence[WarmUpItem]) -> None:
        """Find the places of a piece's spots in the round."""
        made = {item.spot.transition: item for item in items}
        self._spots[key] = {}
        for at, due in enumerate(self.round.dues):
            if due.piece != key:
                continue
            item = made.get(due.spot.transition)
            if item is None:  # another one's window holds it
                self.round.leave_out(at)
            else:
                self._spots[key][at] = item
                self.round.has_windows(at, item.repetitions_s)

    def _find_anew(self, one: WarmUpPiece, score: Score) -> None:
        """Where its score was corrected since: the spots as they stand in it now."""
        now = piece_key(score, one.path)
        if now == one.piece or self._store is None:
            return
        try:
            spots = self._store.weak_spots(now)
        except RecordError:  # then as they were found
            return
        one.due = list_due(spots, self._today, time.time())

    def _is_ready(self, key: str) -> bool:
        one = self._pieces[key]
        if one.is_gone:
            for at, due in enumerate(self.round.dues):
                if due.piece == key:
                    self.round.leave_out(at)
        elif one.score and key not in self._spots:
            self.spots(key)
        return one.score is not None

    def _open_others(self) -> None:
        for one in self._pieces.values():
            if one.score is None:
                try:
                    one.score = self._open_score(one.path)
                except (ScoreError, MoveError, RecordError):  # it is said where it is opened itself
                    one.is_gone = True


def list_warm_up(due: DueToday, minutes: float, data: Path | None) -> Iterator[str]:
    """What would be played in so many minutes, the worst first, and how much waits."""
    scores = {one.piece.key: open_piece(one.path, data=data) for one in due.pieces}
    items = {
        (one.piece.key, item.spot.transition): item
        for one in due.pieces
        for item in plan_warm_up(scores[one.piece.key], one.due, day_of(time.time()))
    }
    dues = [
        DueSpot(one.piece, one.spot, items[one.piece, one.spot.transition].repetitions_s)
        for one in due.dues
        if (one.piece, one.spot.transition) in items
    ]
    chosen = choose_spots(dues, 60 * minutes)
    takes_min = max(1, ceil(sum(dues[at].left_s for at in chosen) / 60 - 0.25))
    yield f"{_spots(len(chosen))}, about {takes_min} of your {minutes:g} minutes:"
    for number, at in enumerate(chosen, start=1):
        score = scores[dues[at].piece]
        item = items[dues[at].piece, dues[at].spot.transition]
        yield f"{number:3}. {score.title}, {move_words(score, item.spot.transition)}"
        yield f"     {item.reason}"
    if (rest := len(dues) - len(chosen)) > 0:
        yield f"{_spots(rest)} more {'waits' if rest == 1 else 'wait'} for another day."


def warm_up_plan(
    score: Score, spots: Sequence[WarmUpItem], states: Sequence[RowState]
) -> tuple[PlanRow, ...]:
    """The warm-up's spots as a plan, in the order in which they are played."""
    return tuple(
        PlanRow(f"{stretch_words(score, one.window)}, {HANDS[one.window.hands]}", one.window, state)
        for one, state in zip(spots, states, strict=True)
    )


def _spots(count: int) -> str:
    return f"{count} {'spot' if count == 1 else 'spots'}"
