"""Where an onset lies, in words for people: bar and beat."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class Place:
    """Where an onset lies, for people: bar and beat (beat 1 is the downbeat)."""

    bar_index: int
    bar_number: str
    beat: Fraction
    is_pickup: bool = False

    @property
    def bar(self) -> str:
        """The bar in words, as :attr:`Bar.words`."""
        return bar_words(self.bar_number, self.is_pickup)

    def __str__(self) -> str:
        return f"{self.bar}, beat {beat_words(self.beat)}"


def bar_words(number: str, is_pickup: bool) -> str:
    """Nobody at a piano says "bar 0" for the notes before bar 1."""
    return "pickup" if is_pickup and number in ("", "0") else f"bar {number}"


def beat_words(beat: Fraction) -> str:
    """A beat position to be read: ``2``, ``2 1/2``, ``1 1/3``."""
    whole, part = divmod(beat, 1)
    return str(whole) if not part else f"{whole} {part}"
