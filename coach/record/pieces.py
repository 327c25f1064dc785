"""Pieces in the record: how one is known again, and what the record tells of it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from pathlib import Path

from coach.record.lineage import describe_bars
from coach.score.model import Score

# Which piece it is: known again by its notes, whatever its file is called and wherever it lies.


@dataclass(frozen=True, slots=True)
class PieceKey:
    """A piece in the record."""

    key: str
    """A digest of its bars and notes: the same for the same music."""
    title: str
    path: str = ""
    """Where its score was last opened from; empty for a score that was no file."""
    bars: str = field(default="", compare=False, repr=False)
    """What each of its bars is known by (``lineage.py``); empty where the score is not open."""


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
    kept = str(named.absolute()) if path else ""
    return PieceKey(digest.hexdigest()[:32], title, kept, describe_bars(score))


# What the record tells of what it holds.


@dataclass(frozen=True, slots=True)
class PieceSummary:
    """A piece in the record, and how much it was practised."""

    piece: PieceKey
    used_at_s: float
    """When it was last open, unix time."""
    repetitions: int
    clean: int


@dataclass(frozen=True, slots=True)
class RepetitionSummary:
    """One repetition in the record."""

    id: int
    at_s: float
    clean: bool
    qpm: float | None
    """The tempo found, in quarters a minute."""
    sentence: str
    start_quarters: str
    end_quarters: str
    hands: str
