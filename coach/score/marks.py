"""What is written at a note besides pitch and length: articulation, ornaments, small notes."""

from __future__ import annotations

from enum import StrEnum


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
