"""Rows of one hand that are written even and played long and short by turns.

Conventions
-----------
A displacement is where an onset lies between its two neighbours: 0 is the middle, +1 the
later neighbour's place; for long and short in the ratio r it is (r - 1) / (r + 1).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import fmean, median

from coach.judging.timing_rows import Point, Points, even_runs
from coach.judging.tolerance import Tolerance
from coach.score.model import Hand

_LEAST_PEAKS = 2
"""Displacements that make a pattern: one onset late and one early, and one more on each side."""
_LEAST_LATE = 2
"""One late onset is a late onset, and one long gap a pause."""
_FULL = 0.75
"""Between two late onsets one is as early as they are late, beside a single one half as early."""
_SURE = 5.6
"""The mean displacement against its standard error. Practice scatters by turns by itself (a late
stroke makes a long gap and then a short one), and of all stretches the likeliest is looked at:
so more than the usual three. What it costs is the line "false alarms, practice" of
``scripts/bench_ear.py``."""
_LIKELY = 4.5
"""From here it is worth a word, but not held against anybody ("or forgiven" there)."""
_TOGETHER_S = 0.02
"""Scatter between the hands where both strike: a professional's for each (8 ms, Jabusch 2006) and
some for practice. Where the other hand is late with this one the pulse is uneven, not the row."""
_MOST_SHARED = 16.0
"""What the other hand may say at most, as a square of standard errors."""
_ANY = 0.14
"""What a displacement must have, on average, for a stretch to be longer with it than without:
half of the ratio of 1.75 to 1."""
_MOST = 0.5
"""Beyond a ratio of 3 to 1 it is a stop, not a long note; it counts no more than that."""
_SCATTER_S = 0.025
_SCATTER_SHARE = 0.08
_SCATTER_WEIGHT = 6
"""Scatter of displacements before any is seen (1.2 times practice-room strokes of 20 ms, or this
share of the gap), and for how many seen ones it stands."""
_UNSEEN = 3
"""How many onsets it is worth that hands mostly strike together, where none between is shared."""
_WHOLE_S = 0.02
"""Shorter than this no two gaps can be told apart (Hirsh 1959: the order of two tones)."""


@dataclass(frozen=True, slots=True)
class Uneven:
    """A stretch of a row that was played long and short by turns."""

    hand: Hand
    first: int
    """Moment of the first displaced onset."""
    last: int
    """Moment of the last one."""
    ratio: float
    """Long against short."""
    size_s: float
    """How far the displaced onsets are from even, on average."""
    sure: bool = True
    """False where it is likelier than not, but may be practice's own scatter."""


def uneven(points: Points, broken: frozenset[int], tolerance: Tolerance) -> tuple[Uneven, ...]:
    """Rows played long and short by turns, the plainest stretch of each hand.

    ``broken`` are the moments that something came before: no row runs across it.
    """
    runs = [
        (hand, run, [_displacement(run, i) for i in range(1, len(run) - 1)])
        for hand in Hand
        for run in even_runs(points[hand], broken)
        if len(run) > _LEAST_PEAKS
    ]
    everything = [(id(run), i, value) for _, run, moved in runs for i, value in enumerate(moved)]
    times = {hand: {moment: at_s for moment, at_s, _ in points[hand]} for hand in Hand}
    best: dict[Hand, tuple[float, Uneven]] = {}
    for hand, run, moved in runs:
        other = times[Hand.LEFT if hand is Hand.RIGHT else Hand.RIGHT]
        for stretch in _stretches(run, moved):
            if not stretch.is_large(tolerance):
                continue
            rest = [
                value
                for of, i, value in everything
                if of != id(run) or not stretch.low - 1 <= i <= stretch.low + len(stretch.moved)
            ]
            square = stretch.sureness(rest) ** 2 + stretch.beside(other)
            sure = sqrt(max(square, 0.0))
            if sure > max(_LIKELY, best.get(hand, (0.0, None))[0]):
                best[hand] = sure, stretch.told(hand, sure=sure > _SURE)
    return tuple(found for _, found in best.values())


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Onsets displaced by turns, with one more on each side."""

    points: list[Point]
    moved: list[float]
    """Displacement of each but the outer two, turned so that the pattern is positive."""
    low: int
    """Where the stretch begins among the displacements of its row."""
    first_late: int
    """Index into ``moved`` of the first that came late."""
    ends: bool
    """Whether the row ends with it and with one more late onset, which none comes after."""

    @property
    def late(self) -> range:
        """The onsets that came late, as indices into ``points``."""
        return range(self.first_late + 1, len(self.moved) + 1 + self.ends, 2)

    @property
    def gap_s(self) -> float:
        return (self.points[-1][1] - self.points[0][1]) / (len(self.points) - 1)

    def is_large(self, tolerance: Tolerance) -> bool:
        """Whether it is beyond what the tolerance leaves to expression."""
        mean = fmean(self.moved)
        limit = (tolerance.uneven_ratio - 1) / (tolerance.uneven_ratio + 1)
        return mean > limit and mean * self.gap_s * 1000 > tolerance.uneven_ms

    def sureness(self, others: Sequence[float]) -> float:
        """The mean displacement in standard errors, by the scatter within and of all else."""
        mean = fmean(self.moved)
        usual = max(_SCATTER_S / self.gap_s, _SCATTER_SHARE)
        squares = sum(min(abs(x), _MOST) ** 2 for x in others)
        squares += sum((x - mean) ** 2 for x in self.moved) + _SCATTER_WEIGHT * usual**2
        count = len(others) + len(self.moved) - 1 + _SCATTER_WEIGHT
        return mean * sqrt(len(self.moved) * count / squares)

    def beside(self, other: Mapping[int, float]) -> float:
        """What the other hand says where it strikes too, as twice a log likelihood ratio.

        Above 0 where the displaced onsets come after the other hand's, below where with them.
        """
        apart: tuple[list[float], list[float]] = ([], [])
        for i, (moment, at_s, _) in enumerate(self.points):
            if moment in other:
                apart[(i - 1 - self.first_late) % 2].append(at_s - other[moment])
        late, between = apart
        if not late:
            return 0.0
        size = fmean(self.moved) * self.gap_s
        gone = median(late) - (median(between) if between else 0.0)
        square = _TOGETHER_S**2 * (1 / len(late) + 1 / max(len(between), _UNSEEN))
        said = (gone**2 - (gone - size) ** 2) / square
        return max(-_MOST_SHARED, min(said, _MOST_SHARED))

    def told(self, hand: Hand, *, sure: bool) -> Uneven:
        """The stretch as it is told of."""
        mean = fmean(self.moved)
        first, last = self.points[self.late[0]][0], self.points[self.late[-1]][0]
        return Uneven(hand, first, last, (1 + mean) / (1 - mean), mean * self.gap_s, sure)


def _stretches(run: list[Point], moved: Sequence[float]) -> Iterator[_Stretch]:
    """For long first and for short first, the stretch that alternates most."""
    for sign in (1, -1):
        turned = [sign * x if i % 2 else -sign * x for i, x in enumerate(moved)]
        low, high = _largest([min(x, _MOST) for x in turned])
        if high - low >= _LEAST_PEAKS and not _is_one(turned, low, high):
            late = low if moved[low] > 0 else low + 1
            values = [min(x, _MOST) for x in turned[low:high]]
            ends = high == len(moved) and values[-1] > _FULL * fmean(values[:-1])
            stretch = _Stretch(run[low : high + 2], values, low, late - low, ends)
            if len(stretch.late) >= _LEAST_LATE:
                yield stretch


def _is_one(turned: Sequence[float], low: int, high: int) -> bool:
    """Whether a single late onset explains a stretch better, its neighbours half displaced by it.

    Two or more late ones leave those between them displaced as much, and half only outside.
    """
    first, last = max(low - 1, 0), min(high + 1, len(turned))
    around = turned[first:last]
    by_turns = _explained(around, [1.0 if low <= i < high else 0.5 for i in range(first, last)])
    single = (
        _explained(around, [max(1 - abs(i - late) / 2, 0.0) for i in range(first, last)])
        for late in range(low, high)
    )
    return max(single) >= by_turns


def _explained(values: Sequence[float], shape: Sequence[float]) -> float:
    """How much of the values' squares a shape of the best size explains."""
    along = sum(v * s for v, s in zip(values, shape, strict=True))
    return max(along, 0.0) ** 2 / sum(s * s for s in shape)


def _displacement(run: list[Point], i: int) -> float:
    before, at, after = (run[j][1] for j in (i - 1, i, i + 1))
    whole = after - before
    return (2 * at - before - after) / whole if whole > _WHOLE_S else 0.0


def _largest(values: Sequence[float]) -> tuple[int, int]:
    """The range whose values exceed ``_ANY`` by the largest sum (Kadane's scan)."""
    best, current, start, found = 0.0, 0.0, 0, (0, 0)
    for i, value in enumerate(values):
        if current <= 0:
            current, start = 0.0, i
        current += value - _ANY
        if current > best:
            best, found = current, (start, i + 1)
    return found
