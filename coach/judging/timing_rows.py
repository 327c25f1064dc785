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
from statistics import fmean, stdev

from coach.judging.timing_moments import Moment
from coach.judging.tolerance import Tolerance
from coach.score.model import Hand

_LEAST_PEAKS = 4
"""Displacements that make a pattern: two long and two short gaps, and one more on each side."""

_STEADY = 2.7
"""A habit of the hand keeps its size: mean displacement against its scatter. Scatter alone
(SD 15 to 30 ms) makes such a row in one repetition of fifty (``scripts/bench_ear.py``)."""
_ROUGH = 0.02
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


def uneven(row: Sequence[Moment], held: frozenset[int], tolerance: Tolerance) -> tuple[Uneven, ...]:
    """Rows played long and short by turns; ``held`` are moments after a pause or a break."""
    found = []
    for hand in Hand:
        for run in even_runs(row, hand, held):
            worst = _worst(run, hand, tolerance)
            if worst is not None:
                found.append(worst)
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


def _worst(run: list[Point], hand: Hand, tolerance: Tolerance) -> Uneven | None:
    """The longest stretch of the row that alternates enough, and as steadily as a habit does."""
    if len(run) < _LEAST_PEAKS + 2:
        return None
    moved = [_displacement(run, i) for i in range(1, len(run) - 1)]
    found = []
    for sign in (1, -1):
        signed = [sign * value if i % 2 else -sign * value for i, value in enumerate(moved)]
        for low, high in _stretches(signed, _ANY):
            if _is_habit(signed[low : high + 1], run[low : high + 3], tolerance):
                found.append((high - low, low, high, signed))
    if not found:
        return None
    _, low, high, signed = max(found, key=lambda stretch: stretch[0])
    late = next(i for i in range(low, high + 1) if moved[i] > 0)
    mean = fmean(signed[low : high + 1])
    gap = (run[high + 2][1] - run[low][1]) / (high - low + 2)
    return Uneven(hand, run[late + 1][0], run[high + 1][0], (1 + mean) / (1 - mean), mean * gap)


def _displacement(run: list[Point], i: int) -> float:
    before, at, after = (run[j][1] for j in (i - 1, i, i + 1))
    whole = after - before
    return (2 * at - before - after) / whole if whole > _WHOLE_S else 0.0


def _is_habit(signed: Sequence[float], points: Sequence[Point], tolerance: Tolerance) -> bool:
    if len(signed) < _LEAST_PEAKS:
        return False
    mean = fmean(signed)
    limit = (tolerance.uneven_ratio - 1) / (tolerance.uneven_ratio + 1)
    gap_ms = (points[-1][1] - points[0][1]) / (len(points) - 1) * 1000
    if mean <= limit or mean * gap_ms <= tolerance.uneven_ms:
        return False
    return mean > _STEADY * (stdev(signed) + _ROUGH)


def _stretches(values: Sequence[float], least: float) -> Iterator[tuple[int, int]]:
    """Maximal runs of values above ``least``."""
    start: int | None = None
    for i, value in enumerate([*values, float("-inf")]):
        if value > least and start is None:
            start = i
        elif value <= least and start is not None:
            yield start, i - 1
            start = None
