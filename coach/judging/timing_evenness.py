"""Evenness of a hand's row: its scatter, and how much of it is the pulse and how much the fingers.

The split is that of Wing & Kristofferson (1973, Percept. Psychophys. 14, 5-12): a clock that
wanders and fingers that are late or early on their own, so that one long interval is followed by
a short one: ``I = C + D - D before``, var I = clock² + 2 motor², autocovariance at lag 1 = -motor².
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import sqrt
from statistics import fmean

from coach.judging.timing_rows import Points, even_runs
from coach.score.model import Hand

_LEAST = 8
"""Intervals from which a scatter is worth a word."""
_SPLIT = 24
"""...and from which clock and fingers can be told apart at all."""


@dataclass(frozen=True, slots=True)
class Evenness:
    """How evenly a hand played its longest even row, a steady change of tempo taken out."""

    hand: Hand
    first: int
    """Moment of the row's second onset, the first that can be out of place."""
    last: int
    gap_ms: float
    """Mean interval."""
    sd_ms: float
    """Standard deviation of the intervals."""
    clock_ms: float | None = None
    motor_ms: float | None = None

    @property
    def cv(self) -> float:
        """The scatter as a share of the interval; a professional's scale has 0.07."""
        return self.sd_ms / self.gap_ms


def evenness(points: Points, held: frozenset[int]) -> tuple[Evenness, ...]:
    """For each hand, its longest even row, where it is long enough."""
    out = []
    for hand in Hand:
        run = max(even_runs(points[hand], held), key=len, default=[])
        if len(run) > _LEAST:
            gaps = _without_trend([(b[1] - a[1]) * 1000 for a, b in pairwise(run)])
            clock, motor = clock_and_motor(gaps) if len(gaps) >= _SPLIT else (None, None)
            mean = fmean(gaps)
            if mean <= 0:  # all at one moment: no row of intervals
                continue
            sd = sqrt(sum((gap - mean) ** 2 for gap in gaps) / (len(gaps) - 1))
            out.append(Evenness(hand, run[1][0], run[-1][0], mean, sd, clock, motor))
    return tuple(out)


def clock_and_motor(intervals: Sequence[float]) -> tuple[float, float]:
    """Standard deviations of clock and fingers, in the unit of the intervals.

    Estimates that come out negative (a short row, or errors that do not alternate) are 0.
    """
    mean = fmean(intervals)
    off = [interval - mean for interval in intervals]
    variance = fmean(x * x for x in off)
    lag_one = sum(a * b for a, b in pairwise(off)) / len(off)
    motor = max(-lag_one, 0.0)
    return sqrt(max(variance - 2 * motor, 0.0)), sqrt(motor)


def _without_trend(gaps: Sequence[float]) -> list[float]:
    """The intervals with a steady slowing or quickening taken out, the mean kept."""
    if len(gaps) < 2:
        return list(gaps)
    middle = (len(gaps) - 1) / 2
    spread = sum((i - middle) ** 2 for i in range(len(gaps)))
    slope = sum((i - middle) * gap for i, gap in enumerate(gaps)) / spread
    return [gap - slope * (i - middle) for i, gap in enumerate(gaps)]
