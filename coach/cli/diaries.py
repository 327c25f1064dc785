"""The diaries that the screens show: of every piece in the record whose score can be opened."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from coach.cli.storage import Storage
from coach.record.folder import RecordError
from coach.record.pieces import PieceKey, piece_key
from coach.record.progress import PieceProgress, gather_progress
from coach.score.model import Score


class Diaries:
    """Reads them from the record."""

    def __init__(self, storage: Storage, data: Path | None) -> None:
        self._storage, self._data = storage, data

    def pieces(self) -> Sequence[PieceKey]:
        """Every piece of which something was played, the last played first."""
        try:
            seen = self._storage.store.pieces() if self._storage.store else ()
        except RecordError:
            return ()
        return [one.piece for one in seen if one.repetitions]

    def read(self, piece: PieceKey, score: Score | None = None) -> PieceProgress | str:
        """One piece's diary, or why there is none."""
        from coach.cli.open_score import open_piece
        from coach.score.formats import ScoreError
        from coach.score.hand_moves import MoveError

        store = self._storage.store
        if store is None:
            return "Nothing is kept here."
        try:
            if score is None:
                if not Path(piece.path).is_file():
                    return f"Its score is gone from {piece.path or 'where it was'}: open it anew."
                score = open_piece(Path(piece.path), data=self._data)
            if piece_key(score).key != piece.key:
                return f"{piece.path} holds other notes now: its diary goes on with those."
            return gather_progress(store, piece, score)
        except (RecordError, ScoreError, MoveError, OSError) as error:
            return str(error)
