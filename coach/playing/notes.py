"""What was played: notes and takes, as plain facts.

Times are seconds on one monotonic clock (``_s``); only differences mean anything.
"""

from __future__ import annotations

from dataclasses import dataclass

ONE_STROKE_S = 0.06
"""Keys this close together went down in one stroke: a melody leads its chord by some 30 ms (Goebl
2001)."""


@dataclass(frozen=True, slots=True)
class PlayedNote:
    """One key struck."""

    pitch: int
    """MIDI key number."""
    velocity: int
    """1 to 127."""
    onset_s: float
    """When the key went down."""
    length_s: float | None = None
    """How long the key was held; None while it is still down."""


@dataclass(frozen=True, slots=True)
class PedalMove:
    """A pedal's new position."""

    controller: int
    """64 damper, 66 sostenuto, 67 soft (MIDI 1.0)."""
    value: int
    """0 to 127; 64 and more is down."""
    at_s: float


@dataclass(frozen=True, slots=True)
class Take:
    """The recorded notes of one repetition, in the order of their onsets."""

    notes: tuple[PlayedNote, ...]
    pedals: tuple[PedalMove, ...] = ()
