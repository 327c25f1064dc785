"""How far the tempo rises or sinks from the beginning to the end, and how surely.

The tempo of each gap, as a logarithm, is laid on a straight line over time. A gap counts by how
exactly it tells the tempo: a short one says little, since fingers scatter as much in it as in a
long one. A change that is gone when the first gap or the last is left out is none: a late
beginning, or a final broadening.

Conventions
-----------
Changes are natural logarithms of the tempo at the end over the tempo at the start.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import hypot, log, sqrt

_EXPRESSIVE = 0.10
"""How far a steady tempo rises or sinks over a stretch for expression, as a standard deviation:
that of four-bar windows of a recorded performance (.07 to .14)."""
_CLOCK = 0.09
"""Spread of a gap as a share of it: a little more than a professional's scale has (7 %, Jabusch
2006), since music is played more freely than a scale."""
_STROKE_S = 0.025
"""Spread of a single stroke: what amateurs' tapping scatters (:mod:`coach.judging.tolerance`)."""
_SPREAD_WEIGHT = 3
"""For how many gaps that stands: few gaps tell no spread of their own."""
_LEAST_S, _LEAST_BREADTH = 1e-3, 1e-9


@dataclass(frozen=True, slots=True)
class Trend:
    """The change of tempo over a repetition."""

    change: float
    least: float
    """What is left of it without the first gap or the last, whichever leaves less; in its own
    direction, negative where nothing is left."""
    error: float
    """What the spread of the gaps and expression make of a steady tempo: a standard deviation."""


def trend(places: Sequence[float], times_s: Sequence[float]) -> Trend:
    """The trend of a row of four and more onsets: places in quarters, times without pauses."""
    start, whole = times_s[0], max(times_s[-1] - times_s[0], _LEAST_S)
    gaps = []
    for (x, at), (next_x, next_at) in pairwise(zip(places, times_s, strict=True)):
        seconds = max(next_at - at, _LEAST_S)
        weight = 1 / (_CLOCK**2 + 2 * (_STROKE_S / seconds) ** 2)
        gaps.append((((at + next_at) / 2 - start) / whole, log((next_x - x) / seconds), weight))
    line = _line(gaps)
    way = 1 if line.rise >= 0 else -1
    least = min(way * one.rise for one in (line, _line(gaps[1:]), _line(gaps[:-1])))
    spread = (line.squares + _SPREAD_WEIGHT) / (len(gaps) - 2 + _SPREAD_WEIGHT)
    return Trend(line.rise, least, hypot(sqrt(spread / line.breadth), _EXPRESSIVE))


@dataclass(frozen=True, slots=True)
class _Line:
    rise: float
    breadth: float
    """Weighted squares of the places round their mean."""
    squares: float
    """Weighted squares that the line leaves."""


def _line(points: Sequence[tuple[float, float, float]]) -> _Line:
    """The weighted least squares line through place, value and weight."""
    w = wx = wy = wxx = wxy = wyy = 0.0
    for x, y, weight in points:
        weighted = weight * x
        w += weight
        wx += weighted
        wy += weight * y
        wxx += weighted * x
        wxy += weighted * y
        wyy += weight * y * y
    breadth = max(wxx - wx * wx / w, _LEAST_BREADTH)
    rise = (wxy - wx * wy / w) / breadth
    return _Line(rise, breadth, max(wyy - wy * wy / w - rise * rise * breadth, 0.0))
