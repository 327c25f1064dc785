"""Metre: time signatures, their beats and how strong each is.

A simple metre's beat is its lower number; a compound metre (6, 9, 12 over anything) has a dotted
beat of three of them; 3/8 and 3/16 are one dotted beat; 5/8 and 7/8 are counted undivided. These
are common practice, and music21's defaults.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate


@dataclass(frozen=True, slots=True)
class Metre:
    """A time signature, such as 6/8."""

    beats: int
    """The upper number (for 3+2/8: the sum)."""
    beat_type: int
    """The lower number: 4 for quarters, 8 for eighths."""
    groups: tuple[int, ...] = ()
    """Additive groups as printed (3, 2 for 3+2/8); empty otherwise."""

    @property
    def unit_quarters(self) -> Fraction:
        """The length of the lower number's note, in quarters."""
        return Fraction(4, self.beat_type)

    @property
    def is_compound(self) -> bool:
        """True where the beat is dotted: it divides into three."""
        threes = self.beats % 3 == 0 and not self.groups
        return threes and (self.beats > 3 or self.beat_type >= 8)

    @property
    def beat_quarters(self) -> Fraction:
        """The length of a beat, in quarters: 6/8 has 3/2."""
        return self.unit_quarters * (3 if self.is_compound else 1)

    @property
    def bar_quarters(self) -> Fraction:
        """The length of a full bar, in quarters."""
        return self.unit_quarters * self.beats

    @property
    def group_starts(self) -> frozenset[int]:
        """The beats that a printed group begins with: 1 and 4 in 3+2/8; the first where none is.

        Where nothing is printed nobody can say whether 5/8 is 3+2 or 2+3.
        """
        return frozenset(accumulate(self.groups[:-1], initial=1))

    @property
    def beats_in_bar(self) -> int:
        """How many beats a full bar has: 6/8 has 2."""
        return int(self.bar_quarters / self.beat_quarters)

    def __str__(self) -> str:
        upper = "+".join(map(str, self.groups)) if self.groups else str(self.beats)
        return f"{upper}/{self.beat_type}"


COMMON_TIME = Metre(4, 4)
