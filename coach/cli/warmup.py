"""A warm-up over all pieces with weak spots: their scores, opened ahead, and the spots in words."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from coach.cli.open_score import open_piece
from coach.coaching.drill import dues_of
from coach.coaching.model import Observation
from coach.coaching.planning import (
    DueSpot,
    PlanRow,
    RowState,
    WarmUpItem,
    WarmUpRound,
    plan_warm_up,
    weak_spots,
)
from coach.coaching.wording import HANDS, move_words, stretch_words
from coach.record.folder import RecordError
from coach.record.pieces import PieceKey, piece_key
from coach.record.store import Store
from coach.score.formats import ScoreError
from coach.score.hand_moves import MoveError
from coach.score.model import Score
from coach.screens.interfaces import HomeItem

RECENT_S = 30 * 86400.0
"""A piece that was last played longer ago is not warmed up."""

OpenScore = Callable[[Path], Score]


@dataclass(slots=True)
class WarmUpPiece:
    """One piece of a warm-up."""

    piece: PieceKey
    path: Path
    history: tuple[Observation, ...]
    score: Score | None = None
    is_gone: bool = False
    """Its score can't be opened."""


class WarmUpPieces:
    """One warm-up, from the piece that it begins with to the last."""

    def __init__(
        self,
        first: WarmUpPiece,
        others: Sequence[WarmUpPiece],
        minutes: float,
        open_score: OpenScore,
    ) -> None:
        """``first`` is open. Raises ValueError where nothing in it is weak."""
        assert first.score
        spots = plan_warm_up(first.score, first.history)
        if not spots:
            raise ValueError("Nothing was weak when you last played this piece: go on with it.")
        self._pieces = {one.piece.key: one for one in (first, *others)}
        self._open_score = open_score
        dues = [*dues_of(first.piece.key, spots)]
        for one in others:
            dues += [DueSpot(one.piece.key, spot) for spot in weak_spots(one.history)]
        self.round = WarmUpRound(dues, minutes, self._is_ready)
        self._spots = {first.piece.key: dict(enumerate(spots))}
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
            made = {spot.spot: spot for spot in plan_warm_up(one.score, one.history)}
            self._spots[key] = {}
            for at, due in enumerate(self.round.dues):
                if due.piece != key:
                    continue
                spot = made.get(due.spot)
                if spot is None:  # another one's window holds it
                    self.round.leave_out(at)
                else:
                    self._spots[key][at] = spot
                    self.round.has_windows(at, len(spot.windows))
        return self._spots[key]

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


def pieces_of(store: Store | None, but: PieceKey) -> Iterator[WarmUpPiece]:
    """The other pieces that had weak spots when they were last played, the newest first."""
    if store is None:
        return
    with suppress(RecordError):  # what is wrong is said when the drill is kept
        for piece, history in store.recent(time.time() - RECENT_S):
            path = Path(piece.path)
            if piece.key != but.key and piece.path and path.is_file() and weak_spots(history):
                yield WarmUpPiece(piece, path, history)


def warm_up_lines(items: Sequence[HomeItem], store: Store | None, data: Path | None) -> list[str]:
    """For each piece its spots, the worst first."""
    lines = []
    for item in items:
        score = open_piece(item.path, data=data)
        history = store.last_session(piece_key(score, item.path)) if store else ()
        lines.append(score.title)
        lines += [f"  {_line(score, one)}" for one in plan_warm_up(score, history)]
    return lines


def warm_up_plan(
    score: Score, spots: Sequence[WarmUpItem], states: Sequence[RowState]
) -> tuple[PlanRow, ...]:
    """The warm-up's spots as a plan, in the order in which they are played."""
    return tuple(
        PlanRow(f"{stretch_words(score, one.window)}, {HANDS[one.window.hands]}", one.window, state)
        for one, state in zip(spots, states, strict=True)
    )


def _line(score: Score, one: WarmUpItem) -> str:
    place = move_words(score, one.spot.transition)
    minutes = max(1, round(one.expected_s / 60))
    return f"{place}. {one.reason} About {minutes} min."
