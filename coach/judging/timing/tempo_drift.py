"""How far the tempo rises or sinks from the beginning to the end, and how surely.

The tempo of each gap, as a logarithm, is laid on a straight line over time. A gap counts by how
exactly it tells the tempo: a short one says little, since fingers scatter as much in it as in a
long one. A change that is gone when the first gap or the last is left out is none: a late
beginning, or a final broadening.

Conventions
-----------
Changes are natural logarithms of the tempo at the end over the tempo at the start.

A tempo that runs away, or sinks: evenly, from the beginning of the repetition to its end.

A parabola of time over the score is fitted: its bend is the change of tempo, the scatter round it
says how sure that is. Each third must go on where the one before left off, since a phrase that
speeds up or broadens once is expression. A change too small for that is told of an even player
only: where the tempo's straight trend is plain against the spread of this repetition's own gaps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import exp, hypot, log, sqrt
from operator import mul

from coach.judging.timing.onsets import Moment
from coach.judging.tolerance import Tolerance

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
"""Nothing is divided by less, where all onsets stand at one moment."""


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


_LEAST_SURE, _LEAST_LIKELY = 12, 4
"""Moments from which a change is sure, and from which it is likely. Of practice timing every
thirtieth window of fewer seems to run away by chance: it is told, and forgiven."""
_SURE = {1: 3.5, -1: 5.5}
"""The bend against its standard error, for quickening and for slowing: the z limit of 3.5 (Iglewicz
& Hoaglin 1993), and more for slowing, since expression slows more readily than it hurries
(Friberg & Sundberg 1999, JASA 105, 1469-1484: the final ritard)."""
_LIKELY = {1: 2.0, -1: 3.5}
"""...and where the change is larger than any of those, by :data:`_LARGE`, or is no more even than
the scatter lets it show: worth a word, but not held against anybody. What that costs in
untouched windows is the line "or forgiven" of ``scripts/bench_ear.py``."""
_LARGE = {1: 1.035, -1: 1.075}
"""How much larger than the least change one must be that is only likely."""
_AUDIBLE = 1.1
"""No smaller change is looked into: expression alone makes it."""
_PLAIN = 1.6
"""The trend against what spread and expression make of a steady tempo, in standard deviations:
one steady repetition in twenty is beyond it by chance, fewer where each end is left out too."""
_PRECISE_S = 0.006
"""No player's scatter is taken for less: a professional's single onset (Jabusch 2006)."""
_SCATTER_S = 0.015
_SCATTER_SHARE = 0.07
_SCATTER_WEIGHT = 3
"""Scatter round the parabola before any is seen (practice-room strokes, or a professional's share
of the gap, Jabusch 2006), and for how many onsets it stands: few onsets tell none of their own."""
_PARTS = 3
"""Thirds: own choice, since a phrase that broadens once does so in one of them."""
_EVENLY = 0.1
"""From each third to the next at least this share of the whole change (in log tempo): an even
change has a third of it there."""


@dataclass(frozen=True, slots=True)
class TempoDrift:
    """The tempo at the end against the tempo at the start: above 1 faster, below 1 slower."""

    ratio: float
    sure: bool = True
    """False where it is likelier than not, but may be expression or chance."""


@dataclass(frozen=True, slots=True)
class _Bend:
    """A parabola of time over the score."""

    slope: float
    """Seconds a quarter in the middle."""
    bend: float
    error: float
    """Standard error of the bend."""
    scatter_s: float
    """Of the onsets round it."""

    def ratio(self, span: float) -> float | None:
        """Tempo at the end against the start; None where time would stand still."""
        half = self.bend * span
        return (self.slope - half) / (self.slope + half) if self.slope > abs(half) else None


def find_tempo_drift(
    row: Sequence[Moment], pauses_s: Sequence[float], tolerance: Tolerance
) -> TempoDrift | None:
    """An even change of tempo over the whole repetition, None where the tempo holds.

    ``pauses_s`` are the seconds of each interval that were a pause or a break, and no tempo.
    """
    if len(row) < _LEAST_LIKELY:
        return None
    free, total = [], 0.0
    for moment, lift in zip(row, pauses_s, strict=True):
        total += lift
        free.append(moment.at_s - total)
    places = [moment.x for moment in row]
    found = _parabola(places, free)
    ratio = found.ratio(places[-1] - places[0])
    if ratio is None:
        return None
    size = max(ratio, 1 / ratio)
    if size <= _AUDIBLE:
        return None
    if size > tolerance.drift_ratio:
        steps = _steps(places, free, log(ratio), found.scatter_s)
        if len(row) >= _LEAST_SURE and _is_sure(found, ratio, steps):
            return TempoDrift(ratio)
        if _is_likely(found, ratio, steps, tolerance):
            return TempoDrift(ratio, sure=False)
    return _plain(places, free, tolerance)


def _plain(
    places: Sequence[float], free: Sequence[float], tolerance: Tolerance
) -> TempoDrift | None:
    """A change that is plain for how even the gaps are, None where it may be any player's."""
    found = trend(places, free)
    if found.least <= log(tolerance.even_drift_ratio) or found.least <= _PLAIN * found.error:
        return None
    return TempoDrift(exp(found.change), sure=False)


def _is_sure(found: _Bend, ratio: float, steps: Sequence[tuple[float, float]]) -> bool:
    limit = _SURE[1 if ratio > 1 else -1]
    even = bool(steps) and all(share > _EVENLY for share, _ in steps)
    return abs(found.bend) > limit * found.error and even


def _is_likely(
    found: _Bend, ratio: float, steps: Sequence[tuple[float, float]], tolerance: Tolerance
) -> bool:
    way = 1 if ratio > 1 else -1
    large = max(ratio, 1 / ratio) > tolerance.drift_ratio * _LARGE[way]
    even = all(share > _EVENLY - error for share, error in steps)
    return large and abs(found.bend) > _LIKELY[way] * found.error and even


def _parabola(xs: Sequence[float], ts: Sequence[float]) -> _Bend:
    """Time over the score by least squares."""
    middle = (xs[0] + xs[-1]) / 2
    ones, line, square = [1.0] * len(xs), [x - middle for x in xs], [(x - middle) ** 2 for x in xs]
    line = _without(line, ones)
    square = _without(_without(square, ones), line)
    rest = _without(ts, ones)
    spread_line, spread = _dot(line, line), _dot(square, square)
    if spread <= 1e-9:
        return _Bend(1.0, 0.0, 1.0, 1.0)
    bend = _dot(rest, square) / spread
    left = _without(_without(rest, line), square)
    usual_s = max(_SCATTER_S, _SCATTER_SHARE * (ts[-1] - ts[0]) / (len(ts) - 1))
    squares = _dot(left, left) + _SCATTER_WEIGHT * usual_s**2
    scatter = max(sqrt(squares / (len(xs) - 3 + _SCATTER_WEIGHT)), _PRECISE_S)
    slope = _dot([t - bend * (x - middle) ** 2 for x, t in zip(xs, ts, strict=True)], line)
    return _Bend(slope / spread_line, bend, scatter / sqrt(spread), scatter)


def _dot(a: Sequence[float], b: Sequence[float]) -> float:
    total: float = sum(map(mul, a, b))
    return total


def _without(values: Sequence[float], other: Sequence[float]) -> list[float]:
    """What of the values the other ones do not explain."""
    share = _dot(values, other) / _dot(other, other)
    return [value - share * x for value, x in zip(values, other, strict=True)]


def _steps(
    xs: Sequence[float], ts: Sequence[float], change: float, scatter_s: float
) -> list[tuple[float, float]]:
    """From each third to the next, its share of the change and the standard error of that.

    Empty where there are too few onsets for thirds.
    """
    span = xs[-1] - xs[0]
    bounds = [_nearest(xs, xs[0] + span * k / _PARTS) for k in range(_PARTS + 1)]
    if len(set(bounds)) <= _PARTS:
        return []
    parts = []
    for low, high in pairwise(bounds):
        seconds = max(ts[high] - ts[low], 1e-3)
        parts.append((log((xs[high] - xs[low]) / seconds), sqrt(2) * scatter_s / seconds))
    return [
        ((after - before) / change, hypot(error, more) / abs(change))
        for (before, error), (after, more) in pairwise(parts)
    ]


def _nearest(xs: Sequence[float], x: float) -> int:
    return min(range(len(xs)), key=lambda i: abs(xs[i] - x))
