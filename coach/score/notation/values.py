"""Note values: how a length is written (head, dots, flags, tuplet).

Lengths are exact quarters. The names and dots are common practice: each dot adds half of what
stands before it; a triplet writes three in the time of two.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

_BASES = tuple(Fraction(2) ** power for power in range(4, -7, -1))
"""Written values in quarters, from a double breve (16) to a 256th (1/64)."""

_TUPLETS = ((3, 2), (5, 4), (7, 4), (4, 3), (9, 8), (11, 8), (13, 8), (7, 6), (7, 8))
"""So many in the time of so many, the commonest first."""


@dataclass(frozen=True, slots=True)
class Value:
    """A written note value."""

    base_quarters: Fraction
    """The undotted value: 1 for a quarter, 1/2 for an eighth."""
    dots: int = 0
    tuplet: tuple[int, int] | None = None
    """(3, 2) for a triplet: three in the time of two."""

    @property
    def is_hollow(self) -> bool:
        """Half notes and longer."""
        return self.base_quarters >= 2

    @property
    def has_stem(self) -> bool:
        """All but whole notes and longer."""
        return self.base_quarters < 4

    @property
    def flags(self) -> int:
        """Flags or beams: an eighth has 1, a sixteenth 2."""
        count, value = 0, self.base_quarters
        while value < 1:
            count, value = count + 1, value * 2
        return count


def _find_plain(length: Fraction, most_dots: int) -> tuple[Fraction, int] | None:
    for base in _BASES:
        for dots in range(most_dots + 1):
            if length == base * (2 - Fraction(1, 2**dots)):
                return base, dots
    return None


@lru_cache(maxsize=4096)
def value_of(length_quarters: Fraction) -> Value | None:
    """The one written value of a length, or None where it takes several tied together."""
    plain = _find_plain(length_quarters, 2)
    if plain:
        return Value(*plain)
    for actual, normal in _TUPLETS:
        plain = _find_plain(length_quarters * Fraction(actual, normal), 1)
        if plain:
            return Value(*plain, (actual, normal))
    return None


@lru_cache(maxsize=4096)
def split_length(length_quarters: Fraction) -> tuple[tuple[Fraction, Value], ...]:
    """A length as written values to be tied, the longest first.

    A length that no sum of values down to a 256th makes (an unquantised file) is written with
    the nearest value below it.
    """
    out: list[tuple[Fraction, Value]] = []
    rest = length_quarters
    while rest > 0:
        value = value_of(rest)
        if value:
            return (*out, (rest, value))
        base = next((base for base in _BASES if base <= rest), None)
        if base is None or len(out) == 4:
            break
        out.append((base, Value(base)))
        rest -= base
    return tuple(out) or ((length_quarters, Value(_BASES[-1])),)
