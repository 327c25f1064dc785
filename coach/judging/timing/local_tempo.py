"""The repetition's own tempo line: where each moment would have fallen.

The line is local: a moment's place is foretold from the few moments around it, without itself, so
that a rallentando bends the line instead of making everything late. A hesitation lifts everything
that follows; the line is lifted with it, so that one pause is one fault and does not smear.

Conventions
-----------
Intervals are numbered by the moment they lead to: interval ``i`` runs from moment ``i - 1`` to
``i``; interval 0 does not exist and holds zeros. Periods are seconds per quarter.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from coach.judging.timing.onsets import Moment

_REACH = 4
"""How many moments to each side say what the tempo is here."""
_REFITS = 2
"""How often the line is fitted anew with less weight for what lies far off it: Cleveland (1979) has
two suffice, from memory."""
_OUTLYING = 2.0
"""Errors beyond twice the middle one count less and less."""
_PRECISE_S = 0.008
"""Nearer than a professional's own scatter (8 ms, Jabusch 2006) nothing is outlying."""
_TRICUBE = tuple((1 - (abs(d) / (_REACH + 1)) ** 3) ** 3 for d in range(-_REACH, _REACH + 1))
"""The weights of a moment's neighbours; its own is 1."""


class Interval(NamedTuple):
    """From one moment to the next."""

    quarters: float
    seconds: float
    period_s: float
    """The tempo around it, itself left out."""

    @property
    def expected_s(self) -> float:
        """How long it would be at the tempo around it."""
        return self.period_s * self.quarters

    @property
    def excess_s(self) -> float:
        """How much longer it was."""
        return self.seconds - self.expected_s


def list_intervals(row: Sequence[Moment]) -> tuple[Interval, ...]:
    """Each interval with the tempo around it, left out itself and what is broken."""
    out = [Interval(0.0, 0.0, 0.0)] if row else []
    whole = _whole_period(row)
    for i in range(1, len(row)):
        quarters = row[i].x - row[i - 1].x
        seconds = row[i].at_s - row[i - 1].at_s
        period = _period_around(row, i)
        out.append(Interval(quarters, seconds, period if period is not None else whole))
    return tuple(out)


def _whole_period(row: Sequence[Moment]) -> float:
    if len(row) < 2 or row[-1].x <= row[0].x:
        return 0.0
    return (row[-1].at_s - row[0].at_s) / (row[-1].x - row[0].x)


def _period_around(row: Sequence[Moment], i: int) -> float | None:
    """The weighted middle of the tempos of the stretches that end before i or begin at it."""
    before = range(i - 1, max(i - 1 - _REACH, 0), -1)
    after = range(i + 1, min(i + 1 + _REACH, len(row)))
    found: list[tuple[float, float]] = []
    _periods(row, i - 1, before, -1, found)
    _periods(row, i, after, 0, found)
    return weighted_median(found) if found else None


def _periods(
    row: Sequence[Moment], start: int, crossed: range, side: int, found: list[tuple[float, float]]
) -> None:
    """Period and quarters of ever longer stretches from a moment on, up to what is broken."""
    first = row[start]
    x, at_s = first.x, first.at_s
    for i in crossed:
        over = row[i]
        if over.is_free:
            return
        end = row[i + side] if side else over
        span = abs(end.x - x)
        found.append((abs(end.at_s - at_s) / span, span))


def weighted_median(found: list[tuple[float, float]]) -> float:
    """The value in the middle of the weights; between two values, their mean."""
    found.sort()
    half = sum(weight for _, weight in found) / 2
    total = 0.0
    for index, (value, weight) in enumerate(found):
        total += weight
        if abs(total - half) < 1e-12 and index + 1 < len(found):
            return (value + found[index + 1][0]) / 2
        if total >= half:
            return value
    return found[-1][0]


def predict_line(row: Sequence[Moment], pauses_s: Sequence[float]) -> tuple[float, ...]:
    """Where each moment would have fallen, in seconds.

    ``pauses_s`` says for each interval how many seconds of it were a pause or a break, which all
    that follows is free of; after a fermata the moment itself is, too.
    """
    total, free = 0.0, []
    for moment, lift in zip(row, pauses_s, strict=True):
        total += lift
        free.append(moment.at_s - total)
    total, out = 0.0, []
    xs = [moment.x for moment in row]
    for i, lift in enumerate(pauses_s):
        waited = lift if row[i].held else 0.0
        out.append(_local_fit(xs, free, i) + total + waited)
        total += lift
    return tuple(out)


def _local_fit(xs: Sequence[float], free: Sequence[float], i: int) -> float:
    """A straight line through the neighbours, refitted with less of what lies off it."""
    low, high, x0 = max(0, i - _REACH), i + _REACH + 1, xs[i]
    around = zip(xs[low:high], free[low:high], _TRICUBE[low - i + _REACH :], strict=False)
    near = [(x - x0, t, weight) for x, t, weight in around if weight < 1.0]
    if len(near) < 2:
        return free[i]  # one neighbour tells no tempo
    kept = near
    for _ in range(_REFITS):
        at, slope = _line(kept)
        errors = [abs(t - at - slope * x) for x, t, _ in near]
        ordered = sorted(errors)
        limit = max(_OUTLYING * ordered[len(errors) // 2], _PRECISE_S)
        if ordered[-1] <= limit:
            return at
        kept = [
            (x, t, w if error <= limit else w * (limit / error) ** 2)
            for (x, t, w), error in zip(near, errors, strict=True)
        ]
    return _line(kept)[0]


def _line(points: Sequence[tuple[float, float, float]]) -> tuple[float, float]:
    """Value at 0 and slope of the weighted least squares line."""
    w = sx = st = sxx = sxt = 0.0
    for x, t, weight in points:
        wx = weight * x
        w += weight
        sx += wx
        st += weight * t
        sxx += wx * x
        sxt += wx * t
    spread = w * sxx - sx * sx
    if spread <= 1e-12:
        return st / w, 0.0
    slope = (w * sxt - sx * st) / spread
    return (st - slope * sx) / w, slope
