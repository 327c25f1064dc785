"""What is printed besides notes and bars, and what the reading had to change, as plain facts.

What is written at a note besides pitch and length: articulation, ornaments, small notes.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class Clef:
    """A clef from an onset on."""

    staff: int
    onset_quarters: Fraction
    sign: str
    """G, F or C."""
    line: int
    octave: int = 0
    """Octaves that the clef adds to the written pitch (a small 8 above: 1)."""


@dataclass(frozen=True, slots=True)
class TempoMark:
    """A tempo from an onset on, in quarter notes a minute."""

    onset_quarters: Fraction
    qpm: float
    words: str = ""
    is_guess: bool = False
    """True where only words are printed, or nothing."""


@dataclass(frozen=True, slots=True)
class Direction:
    """A word or a dynamic printed at an onset."""

    onset_quarters: Fraction
    staff: int
    text: str


@dataclass(frozen=True, slots=True)
class Remark:
    """What was repaired, left out or guessed while reading, in one sentence."""

    kind: str
    """"repaired", "left out", "guess" or "note"."""
    text: str


class Grace(StrEnum):
    """How a small note is played: before the beat or after its main note (a trill's ending)."""

    BEFORE = "before"
    AFTER = "after"


class Mark(StrEnum):
    """What is written at a note besides pitch and length."""

    STACCATO = "staccato"
    STACCATISSIMO = "staccatissimo"
    TENUTO = "tenuto"
    ACCENT = "accent"
    MARCATO = "marcato"
    FERMATA = "fermata"
    SLUR_START = "slur start"
    SLUR_END = "slur end"
    UNDER_SLUR = "under slur"
    ARPEGGIO = "arpeggio"
    TRILL = "trill"
    MORDENT = "mordent"
    TURN = "turn"
    TREMOLO = "tremolo"
    GLISSANDO = "glissando"


FREE_MARKS = frozenset({Mark.TRILL, Mark.MORDENT, Mark.TURN, Mark.TREMOLO, Mark.GLISSANDO})
"""Ornaments that are played freely: more notes than are written may sound, and be right."""
