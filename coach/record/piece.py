"""Which piece it is: known again by its notes, whatever its file is called and wherever it lies."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from coach.score.model import Score


@dataclass(frozen=True, slots=True)
class PieceKey:
    """A piece in the record."""

    key: str
    """A digest of its bars and notes: the same for the same music."""
    title: str
    path: str = ""
    """Where its score was last opened from; empty for a score that was no file."""


def piece_key(score: Score, path: str | Path = "") -> PieceKey:
    """The key of a piece.

    Bars (place and metre) and notes (pitch, onset, length) count. Titles, fingerings, layout and
    the hands do not, so that a corrected fingering or a note given to the other hand keeps the
    piece's history.
    """
    digest = hashlib.sha256()
    for bar in score.bars:
        digest.update(f"|{bar.onset_quarters} {bar.metre}".encode())
    for note in score.notes:
        digest.update(f"{note.pitch} {note.onset_quarters} {note.length_quarters};".encode())
    named = Path(path)
    title = score.title or (named.stem if path else "Untitled")
    return PieceKey(digest.hexdigest()[:32], title, str(named.absolute()) if path else "")
