"""A piece's progress, gathered from the record: what ``coach progress``, the diary and the report
show."""

from __future__ import annotations

import time
from dataclasses import dataclass

from coach.coaching.planning import Diary, WarmUpItem, list_due, plan_warm_up
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
    weak: tuple[WarmUpItem, ...]
    """The weak spots that are due, the worst first."""

    @property
    def title(self) -> str:
        """The piece's name."""
        return self.score.title or self.piece.title


def gather_progress(store: Store, piece: PieceKey, score: Score) -> PieceProgress:
    """A piece's progress from the record. Raises RecordError."""
    diary = Diary(score, store.played(piece, MOST_REPETITIONS), day_of)
    now_s = time.time()
    due = list_due(store.weak_spots(piece), day_of(now_s), now_s)
    return PieceProgress(piece, score, diary, plan_warm_up(score, due, day_of(now_s)))
