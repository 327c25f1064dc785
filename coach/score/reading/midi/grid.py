"""Ticks as exact quarters, and whether a file's ticks are notation or a performance."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache

_GRIDS = (1, 2, 4, 8, 3, 6, 12, 16, 24, 32, 5, 10, 20, 7, 14, 9)
"""Parts of a quarter that notation uses, the plainest first."""
_NOTATED_SHARE = 0.95
_PLAIN_GRID = 24
"""Denominators up to here are plainly notated as they stand."""


def quarters(ticks: int, per_quarter: int) -> Fraction:
    """A time in quarters; a tuplet that the file had to round to a tick is put right."""
    return _quarters(ticks, per_quarter)


@lru_cache(maxsize=100_000)
def _quarters(ticks: int, per_quarter: int) -> Fraction:
    exact = Fraction(ticks, per_quarter)
    if exact.denominator <= _PLAIN_GRID or per_quarter < 96:
        return exact
    for parts in _GRIDS:
        near = Fraction(round(exact * parts), parts)
        if abs(near - exact) * per_quarter < 1:
            return near
    return exact


def is_notated(starts: Sequence[int], per_quarter: int) -> bool:
    """Whether nearly all onsets stand on a grid of 24ths or 32nds of a quarter.

    A player's onsets do so by chance only: at 480 ticks a quarter, about one in ten.
    """
    if not starts:
        return True
    on_grid = sum(_is_plain(Fraction(start, per_quarter)) for start in starts)
    return on_grid >= _NOTATED_SHARE * len(starts)


def _is_plain(onset: Fraction) -> bool:
    return any((onset * parts).denominator == 1 for parts in (24, 32)) or _rounds(onset)


def _rounds(onset: Fraction) -> bool:
    """A triplet or quintuplet rounded to the nearest tick."""
    return any(abs(round(onset * parts) - onset * parts) * 96 < parts // 3 for parts in (3, 5, 6))
