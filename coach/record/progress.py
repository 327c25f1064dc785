"""A piece's progress, gathered from the record: what ``coach progress``, the diary and the report
show."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from coach.coaching.planning import Diary, WarmUpItem, plan_warm_up
from coach.record.pieces import PieceKey
from coach.record.store import Store
from coach.score.model import Score

DAY_ENDS_H = 4
"""What is played before four in the morning belongs to the evening before."""
MOST_REPETITIONS = 20_000
"""Of one piece, at most, the newest: some years of it."""


def day_of(at_s: float) -> int:
    """The day of a time, local, by its number; days end at four in the morning."""
    return (datetime.fromtimestamp(at_s) - timedelta(hours=DAY_ENDS_H)).toordinal()


@dataclass(frozen=True, slots=True)
class PieceProgress:
    """All that is shown of one piece."""

    piece: PieceKey
    score: Score
    diary: Diary
    weak: tuple[WarmUpItem, ...]
    """The weak spots of the last session, worst first."""

    @property
    def title(self) -> str:
        """The piece's name."""
        return self.score.title or self.piece.title


def gather_progress(store: Store, piece: PieceKey, score: Score) -> PieceProgress:
    """A piece's progress from the record. Raises RecordError."""
    diary = Diary(score, store.played(piece, MOST_REPETITIONS), day_of)
    return PieceProgress(piece, score, diary, plan_warm_up(score, store.last_session(piece)))
