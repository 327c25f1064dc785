"""A tempo that runs away: faster and faster from the beginning to the end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import exp, log
from statistics import fmean

from coach.judging.timing_moments import Moment
from coach.judging.tolerance import Tolerance

_LEAST_MOMENTS = 7
_PARTS = 3
_EVENLY = 0.05
"""Each third is at least this much faster than the one before (in log tempo): twice the tempo
JND of 2.5 %. A phrase that only speeds up once is expression."""


@dataclass(frozen=True, slots=True)
class Rush:
    """The tempo at the end against the tempo at the start."""

    ratio: float


def rush(row: Sequence[Moment], lifts: Sequence[float], tolerance: Tolerance) -> Rush | None:
    """An even acceleration over the whole repetition, None where the tempo holds or sinks.

    The logarithm of the tempo is fitted by a line over time, in a few parts; each part must be
    faster than the one before.
    """
    if len(row) < _LEAST_MOMENTS:
        return None
    parts = _parts(row, lifts)
    if parts is None or any(before[1] - after[1] < _EVENLY for before, after in pairwise(parts)):
        return None
    ratio = _ratio(parts, row[0].x, row[-1].x)
    return Rush(ratio) if ratio > tolerance.drift_ratio else None


def _parts(row: Sequence[Moment], lifts: Sequence[float]) -> list[tuple[float, float]] | None:
    """Centre in quarters and log period of each third of the repetition."""
    free, total = [], 0.0
    for moment, lift in zip(row, lifts, strict=True):
        total += lift
        free.append(moment.at_s - total)
    out = []
    span = row[-1].x - row[0].x
    bounds = [_nearest(row, row[0].x + span * k / _PARTS) for k in range(_PARTS + 1)]
    for low, high in pairwise(bounds):
        quarters = row[high].x - row[low].x
        if high - low < 2 or quarters <= 0 or free[high] <= free[low]:
            return None
        out.append(((row[high].x + row[low].x) / 2, log((free[high] - free[low]) / quarters)))
    return out


def _nearest(row: Sequence[Moment], x: float) -> int:
    return min(range(len(row)), key=lambda i: abs(row[i].x - x))


def _ratio(parts: Sequence[tuple[float, float]], start: float, end: float) -> float:
    """How many times as fast at the end as at the start, on the fitted line."""
    middle = fmean(x for x, _ in parts)
    level = fmean(y for _, y in parts)
    spread = sum((x - middle) ** 2 for x, _ in parts)
    slope = sum((x - middle) * (y - level) for x, y in parts) / spread
    return exp(-slope * (end - start))
