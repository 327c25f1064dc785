"""Rows of one hand that are written even and played long and short by turns.

Conventions
-----------
A *row* is a run of one hand's onsets, equally far apart in the score, with nothing broken between
them. A displacement is where an onset lies between its two neighbours: 0 is the middle, +1 the
later neighbour's place; for long and short in the ratio r it is (r - 1) / (r + 1).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import fmean, median, stdev

from coach.judging.timing_moments import Moment
from coach.judging.tolerance import Tolerance
from coach.score.model import Hand

_LEAST_PEAKS = 3
"""Displacements that make a pattern: long, short, long, and a gap more on each side."""
_STEADY = ((6, 2.2), (4, 2.5), (3, 7.0))
"""A habit of the hand keeps its size. From how many displacements, the least mean against their
scatter: scatter alone (SD 15 to 30 ms) then makes such a row in one repetition of fifty."""
_ROUGH = 0.03
_STANDS_OUT = 1.8
"""...and the least mean against the scatter of everything else in the repetition."""
_UNKNOWN_S = 0.015
_SURE_S = 0.004
"""Scatter that is taken where too little else was played, and its least."""
_FEW = 8
_EDGE = 0.65
"""A first or last displacement below this share of the middle one is outside the pattern."""
_ANY = 0.05
"""Displacements below this belong to no pattern."""
_WHOLE_S = 0.02
"""Shorter than this no two gaps can be told apart (Hirsh 1959: the order of two tones)."""


@dataclass(frozen=True, slots=True)
class Uneven:
    """A stretch of a row that was played long and short by turns."""

    hand: Hand
    first: int
    """Moment of the first displaced onset."""
    last: int
    ratio: float
    """Long against short."""
    size_s: float
    """How far the displaced onsets are from even, on average."""


def uneven(
    row: Sequence[Moment], line: Sequence[float], held: frozenset[int], tolerance: Tolerance
) -> tuple[Uneven, ...]:
    """Rows played long and short by turns, the longest stretch of each.

    ``line`` is where the moments would have fallen, ``held`` those after a pause or a break.
    """
    found = []
    for hand in Hand:
        for run in even_runs(row, hand, held):
            habits = [
                stretch
                for stretch in _stretches(run)
                if _is_habit(stretch, tolerance)
                and stretch.size_s > _STANDS_OUT * _by_chance_s(row, line, hand, stretch)
            ]
            if habits:
                found.append(max(habits, key=lambda stretch: len(stretch.moved)).told(hand))
    return tuple(found)


Point = tuple[int, float, float]
"""Moment, seconds, quarters."""


def points_of(row: Sequence[Moment], hand: Hand) -> list[Point]:
    """One hand's onsets, rolled and ornamented ones left out."""
    return [
        (i, onset.at_s, moment.x)
        for i, moment in enumerate(row)
        if (onset := moment.of(hand)) is not None and not onset.loose
    ]


def even_runs(row: Sequence[Moment], hand: Hand, held: frozenset[int]) -> Iterator[list[Point]]:
    """The hand's rows: runs of onsets equally far apart in the score, the shortest of two."""
    points = points_of(row, hand)
    run: list[Point] = []
    for point in points:
        if run and not _continues(run, point, held):
            yield run
            run = run[-1:] if not held_between(run[-1], point, held) else []
        run.append(point)
    if run:
        yield run


def _continues(run: list[Point], point: Point, held: frozenset[int]) -> bool:
    if held_between(run[-1], point, held):
        return False
    if len(run) < 2:
        return True
    return abs((point[2] - run[-1][2]) - (run[-1][2] - run[-2][2])) < 1e-6


def held_between(before: Point, after: Point, held: frozenset[int]) -> bool:
    """Whether a pause or a break lies between two onsets."""
    return any(i in held for i in range(before[0] + 1, after[0] + 1))


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Onsets displaced by turns, with one more on each side."""

    points: list[Point]
    moved: list[float]
    """Displacement of each but the outer two, turned so that the pattern is positive."""
    first_late: int
    """Index into ``moved`` of the first that came late."""

    @property
    def size_s(self) -> float:
        gap = (self.points[-1][1] - self.points[0][1]) / (len(self.points) - 1)
        return fmean(self.moved) * gap

    def told(self, hand: Hand) -> Uneven:
        mean = fmean(self.moved)
        first, last = self.points[self.first_late + 1][0], self.points[-2][0]
        return Uneven(hand, first, last, (1 + mean) / (1 - mean), self.size_s)


def _stretches(run: list[Point]) -> Iterator[_Stretch]:
    """Stretches that alternate, long first or short first, cut to where they do it fully."""
    moved = [_displacement(run, i) for i in range(1, len(run) - 1)]
    for sign in (1, -1):
        turned = [sign * value if i % 2 else -sign * value for i, value in enumerate(moved)]
        for low, high in _above(turned, _ANY):
            low, high = _trimmed(turned, low, high)
            if high - low >= _LEAST_PEAKS:
                late = next(i for i in range(low, high) if moved[i] > 0)
                yield _Stretch(run[low : high + 2], turned[low:high], late - low)


def _displacement(run: list[Point], i: int) -> float:
    before, at, after = (run[j][1] for j in (i - 1, i, i + 1))
    whole = after - before
    return (2 * at - before - after) / whole if whole > _WHOLE_S else 0.0


def _above(values: Sequence[float], least: float) -> Iterator[tuple[int, int]]:
    """Maximal runs of values above ``least``, as half-open ranges."""
    start: int | None = None
    for i, value in enumerate([*values, float("-inf")]):
        if value > least and start is None:
            start = i
        elif value <= least and start is not None:
            yield start, i
            start = None


def _trimmed(values: Sequence[float], low: int, high: int) -> tuple[int, int]:
    """Without weak edges: the onset beside the first that was moved looks half displaced."""
    least = _EDGE * median(values[low:high])
    while high - low > _LEAST_PEAKS and values[low] < least:
        low += 1
    while high - low > _LEAST_PEAKS and values[high - 1] < least:
        high -= 1
    return low, high


def _is_habit(stretch: _Stretch, tolerance: Tolerance) -> bool:
    mean = fmean(stretch.moved)
    limit = (tolerance.uneven_ratio - 1) / (tolerance.uneven_ratio + 1)
    if mean <= limit or stretch.size_s * 1000 <= tolerance.uneven_ms:
        return False
    steady = next(least for count, least in _STEADY if len(stretch.moved) >= count)
    return mean > steady * (stdev(stretch.moved) + _ROUGH)


def _by_chance_s(
    row: Sequence[Moment], line: Sequence[float], hand: Hand, stretch: _Stretch
) -> float:
    """The mean displacement that the scatter of all else would give a stretch of its length."""
    own = {point[0] for point in stretch.points}
    others = [
        abs(onset.at_s - line[i])
        for i, moment in enumerate(row)
        for onset in moment.hands
        if onset.hand is not hand or i not in own
    ]
    scatter = median(others) / 0.6745 if len(others) >= _FEW else _UNKNOWN_S
    return 2 * (scatter + _SURE_S) / sqrt(len(stretch.moved))
