"""Opening the pieces whose progress is asked for, by ``coach progress`` and the report."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from coach.cli.errors import CannotDo
from coach.cli.open_score import open_piece
from coach.record.folder import FILE, named_folder
from coach.record.pieces import piece_key
from coach.record.progress import PieceProgress, gather_progress
from coach.record.store import Store


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
