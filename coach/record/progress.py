"""A piece's progress, gathered from the record: what ``coach progress``, the diary and the report
show."""

from __future__ import annotations

from dataclasses import dataclass

from coach.coaching.planning import Diary
from coach.record.calendar import day_of
from coach.record.pieces import PieceKey
from coach.record.store import Store
from coach.score.model import Score

MOST_REPETITIONS = 20_000
"""Of one piece, at most, the newest: some years of it."""


@dataclass(frozen=True, slots=True)
class PieceProgress:
    """All that is shown of one piece."""

    piece: PieceKey
    score: Score
    diary: Diary

    @property
    def title(self) -> str:
        """The piece's name."""
        return self.score.title or self.piece.title


def gather_progress(store: Store, piece: PieceKey, score: Score) -> PieceProgress:
    """A piece's progress from the record. Raises RecordError."""
    return PieceProgress(piece, score, Diary(score, store.played(piece, MOST_REPETITIONS), day_of))
