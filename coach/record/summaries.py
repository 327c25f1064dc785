"""What the record tells of what it holds."""

from __future__ import annotations

from dataclasses import dataclass

from coach.record.piece import PieceKey


@dataclass(frozen=True, slots=True)
class PieceSeen:
    """A piece in the record, and how much it was practised."""

    piece: PieceKey
    used_at_s: float
    """When it was last open, unix time."""
    repetitions: int
    clean: int


@dataclass(frozen=True, slots=True)
class RepetitionSeen:
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
