"""A piece's progress, gathered from the record: what ``coach progress`` and the report show."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from coach.cli.errors import CannotDo
from coach.cli.open_score import open_piece
from coach.coaching.model import Observation
from coach.coaching.planning import (
    BarMap,
    BarState,
    DayFigures,
    PlayedOnce,
    WarmUpItem,
    best_tempi,
    count_days,
    map_bars,
    plan_warm_up,
)
from coach.record.folder import FILE, named_folder
from coach.record.pieces import PieceKey, piece_key
from coach.record.store import Store
from coach.score.model import Bar, Hand, Score

DAY_ENDS_H = 4
"""What is played before four in the morning belongs to the evening before."""
MOST_REPETITIONS = 20_000
"""Of one piece, at most, the newest: some years of it."""

SIGNS = {
    BarState.UNTOUCHED: "·",
    BarState.WEAK: "x",
    BarState.HOLDING: "-",
    BarState.SETTLED: "=",
}
"""A bar's state as a character: shapes, so that no colour is needed."""


def day_of(at_s: float) -> int:
    """The day of a time, local, by its number; days end at four in the morning."""
    return (datetime.fromtimestamp(at_s) - timedelta(hours=DAY_ENDS_H)).toordinal()


@dataclass(frozen=True, slots=True)
class PieceProgress:
    """All that is shown of one piece."""

    piece: PieceKey
    score: Score
    history: tuple[Observation, ...]
    played: tuple[PlayedOnce, ...]
    days: tuple[DayFigures, ...]
    weak: tuple[WarmUpItem, ...]
    """The weak spots of the last session, worst first."""

    def map_until(self, until: int | None = None) -> BarMap:
        """The bars as they stood at the end of a day; now without one."""
        return map_bars(self.score, self.history, day_of, until)

    def tempi(self) -> dict[tuple[str, str, str], dict[int, float]]:
        """The quickest clean repetition of each window and day."""
        return best_tempi(self.played, day_of)


def gather_progress(store: Store, piece: PieceKey, score: Score) -> PieceProgress:
    """A piece's progress from the record."""
    history = store.history(piece)
    played = tuple(
        PlayedOnce(one.at_s, (one.start_quarters, one.end_quarters, one.hands), one.clean, one.qpm)
        for one in reversed(store.repetitions(piece, MOST_REPETITIONS))
    )
    return PieceProgress(
        piece, score, history, played, count_days(played, day_of), plan_warm_up(score, history)
    )


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


def map_lines(bars: Sequence[Bar], states: BarMap, width: int) -> list[str]:
    """The grid of bars by hand, as text: bar numbers every five, a row for each hand."""
    each = max((width - 4) // 2, 5)
    lines: list[str] = []
    for start in range(0, len(bars), each):
        part = bars[start : start + each]
        numbers = [" "] * (2 * len(part) + 4)
        for at, bar in enumerate(part):
            if at == 0 or (bar.number.isdigit() and int(bar.number) % 5 == 0):
                for place, char in enumerate(bar.number or "0", 4 + 2 * at):
                    if place < len(numbers):
                        numbers[place] = char
        lines.append("".join(numbers).rstrip())
        for hand in Hand:
            signs = (
                SIGNS[state] if (state := states.get((bar.index, hand))) else " " for bar in part
            )
            lines.append(f"{hand.value}  " + " ".join(signs).rstrip())
    return lines
