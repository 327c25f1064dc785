"""The cursor of a MusicXML bar, with the roundings of the exporter undone.

A file that cannot have a tuplet note in whole divisions rounds it. The cursor keeps two places:
``counted``, where the file's own arithmetic stands, and ``at``, where the note is meant to be.
When the file steps back or on, the meant place is found again from the counted one.
"""

from __future__ import annotations

from fractions import Fraction

_NEAR = Fraction(1, 64)
"""Two counted places closer than this are one place that was rounded twice."""


class Cursor:
    """Where the walk stands in the bar, in quarters from its start."""

    def __init__(self) -> None:
        self.to_bar_start()

    def to_bar_start(self) -> None:
        """Begin a bar."""
        self.counted = Fraction(0)
        self.at = Fraction(0)
        self.furthest = Fraction(0)
        self.chord_at = Fraction(0)
        self._is_rounded = False
        self._known = {Fraction(0): Fraction(0)}

    def begin_chord(self) -> None:
        """Remember where the chord that begins now stands, for its other notes."""
        self.chord_at = self.at

    def note(self, counted: Fraction, meant: Fraction) -> None:
        """Move on past a note of this length, as the file counts it and as it is meant."""
        self.counted += counted
        self.at += meant
        self._is_rounded |= counted != meant
        self._known.setdefault(self.counted, self.at)
        self.furthest = max(self.furthest, self.at)

    def forward(self, quarters: Fraction) -> None:
        """Move on without a note."""
        self._go(self.counted + quarters)
        self.furthest = max(self.furthest, self.at)

    def back(self, quarters: Fraction) -> bool:
        """Move back; False where that would leave the bar: it then stops at the beginning."""
        there = self.counted - quarters
        self._go(max(there, Fraction(0)))
        return there > -_NEAR

    def _go(self, counted: Fraction) -> None:
        self.counted = counted
        self.at = self._meant(counted) if self._is_rounded else counted

    def _meant(self, counted: Fraction) -> Fraction:
        if counted in self._known:
            return self._known[counted]
        nearest = min(self._known, key=lambda place: abs(place - counted))
        return self._known[nearest] if abs(nearest - counted) < _NEAR else counted
