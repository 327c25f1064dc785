"""A tempo that runs away, or sinks: evenly, from the beginning of the repetition to its end.

A parabola of time over the score is fitted: its bend is the change of tempo, the scatter round it
says how sure that is. Each third must go on where the one before left off, since a phrase that
speeds up or broadens once is expression.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import log, sqrt

from coach.judging.timing_moments import Moment
from coach.judging.tolerance import Tolerance

_LEAST_MOMENTS = 5
_SURE = {1: 3.5, -1: 5.5}
"""The bend against its standard error, for quickening and for slowing. Chance alone gives 3.5 once
in two thousand repetitions of eight moments; the rest is for expression, which slows more readily
than it hurries (Friberg & Sundberg 1999, JASA 105, 1469-1484: the final ritard)."""
_PRECISE_S = 0.006
"""No player's scatter is taken for less: a professional's single onset (Jabusch 2006)."""
_PARTS = 3
_EVENLY = 0.1
"""From each third to the next at least this share of the whole change (in log tempo): an even
change has a third of it there."""


@dataclass(frozen=True, slots=True)
class Rush:
    """The tempo at the end against the tempo at the start: above 1 faster, below 1 slower."""

    ratio: float


def rush(row: Sequence[Moment], lifts: Sequence[float], tolerance: Tolerance) -> Rush | None:
    """An even change of tempo over the whole repetition, None where the tempo holds.

    ``lifts`` are the seconds of each interval that were a pause or a break, and no tempo.
    """
    if len(row) < _LEAST_MOMENTS:
        return None
    free, total = [], 0.0
    for moment, lift in zip(row, lifts, strict=True):
        total += lift
        free.append(moment.at_s - total)
    places = [moment.x for moment in row]
    slope, bend, error = _parabola(places, free)
    half = bend * (places[-1] - places[0])
    if slope - abs(half) <= 0:
        return None
    ratio = (slope - half) / (slope + half)
    way = 1 if ratio > 1 else -1
    if max(ratio, 1 / ratio) <= tolerance.drift_ratio or abs(bend) <= _SURE[way] * error:
        return None
    return Rush(ratio) if _is_even(places, free, log(ratio)) else None


def _parabola(xs: Sequence[float], ts: Sequence[float]) -> tuple[float, float, float]:
    """Slope in the middle, second coefficient and its standard error, by least squares."""
    middle = (xs[0] + xs[-1]) / 2
    ones, line, square = [1.0] * len(xs), [x - middle for x in xs], [(x - middle) ** 2 for x in xs]
    line = _without(line, ones)
    square = _without(_without(square, ones), line)
    rest = _without(ts, ones)
    spread_line, spread = _dot(line, line), _dot(square, square)
    if spread <= 1e-9:
        return 1.0, 0.0, 1.0
    bend = _dot(rest, square) / spread
    left = _without(_without(rest, line), square)
    scatter = max(sqrt(_dot(left, left) / (len(xs) - 3)), _PRECISE_S)
    slope = _dot([t - bend * (x - middle) ** 2 for x, t in zip(xs, ts, strict=True)], line)
    return slope / spread_line, bend, scatter / sqrt(spread)


def _dot(a: Sequence[float], b: Sequence[float]) -> float:
    return sum(x * y for x, y in zip(a, b, strict=True))


def _without(values: Sequence[float], other: Sequence[float]) -> list[float]:
    """What of the values the other ones do not explain."""
    share = _dot(values, other) / _dot(other, other)
    return [value - share * x for value, x in zip(values, other, strict=True)]


def _is_even(xs: Sequence[float], ts: Sequence[float], change: float) -> bool:
    """Whether each third is faster (or slower) than the one before it."""
    span = xs[-1] - xs[0]
    bounds = [_nearest(xs, xs[0] + span * k / _PARTS) for k in range(_PARTS + 1)]
    if len(set(bounds)) <= _PARTS:
        return False
    tempos = [
        log((xs[high] - xs[low]) / max(ts[high] - ts[low], 1e-3)) for low, high in pairwise(bounds)
    ]
    return all((after - before) / change > _EVENLY for before, after in pairwise(tempos))


def _nearest(xs: Sequence[float], x: float) -> int:
    return min(range(len(xs)), key=lambda i: abs(xs[i] - x))
