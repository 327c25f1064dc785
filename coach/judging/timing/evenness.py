"""Each hand's onsets in order, and the rows among them that are written even.

Conventions
-----------
A *row* is a run of one hand's onsets, equally far apart in the score, with nothing broken between
them.

Every other onset of an even row late: how far, and how much better that explains the row.

The row's intervals are fitted twice by least squares, with one even pulse and with some onsets a
constant time late. Two things scatter: the pulse (each interval apart) and the strokes (each onset,
so that one interval is longer and the next shorter by it), after Wing & Kristofferson (1973). That
strokes alone alternate long and short is thus allowed for.

Conventions
-----------
Squares are in units of the scatter expected before any is seen, so that each is about 1 by chance.

Rows of one hand that are written even and played long and short by turns.

Evenness of a hand's row: its scatter, and how much of it is the pulse and how much the fingers.

The split is that of Wing & Kristofferson (1973, Percept. Psychophys. 14, 5-12): a clock that
wanders and fingers that are late or early on their own, so that one long interval is followed by
a short one: ``I = C + D - D before``, var I = clock² + 2 motor², autocovariance at lag 1 = -motor².
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from math import sqrt
from statistics import fmean, median

from coach.judging.timing.onsets import Moment
from coach.judging.tolerance import Tolerance
from coach.score.model import Hand

Point = tuple[int, float, float]
"""Moment, seconds, quarters."""
Points = Mapping[Hand, Sequence[Point]]
"""Each hand's onsets."""


def list_points(row: Sequence[Moment]) -> Points:
    """Each hand's onsets, rolled and ornamented ones left out."""
    out: dict[Hand, list[Point]] = {hand: [] for hand in Hand}
    for i, moment in enumerate(row):
        for onset in moment.hands:
            if not onset.loose:
                out[onset.hand].append((i, onset.at_s, moment.x))
    return out


def even_runs(points: Sequence[Point], held: frozenset[int]) -> Iterator[list[Point]]:
    """A hand's rows: runs of onsets equally far apart in the score, the shortest of two."""
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
    return bool(held) and any(i in held for i in range(before[0] + 1, after[0] + 1))


STROKE_S = 0.015
"""Scatter of single strokes before any is seen: between a professional's 8 ms (Jabusch 2006) and
the 20 to 25 ms of practice and of beginners."""
PULSE_SHARE = 0.07
"""Scatter of the pulse, as a share of the interval (4 to 7 %: Repp 2005, Jabusch 2006)."""
_LEAST, _MOST = 2, 4
"""How many late onsets are looked for: one is a late note, and four are plain."""
_AROUND = 3
"""Onsets to each side that say where the pulse is."""
_EACH = 0.05
"""An onset called late lies at least this share of the gap behind the middle of its neighbours."""
_MORE = 1.2
"""A single late onset explains a row better where it explains a fifth more: alike readings differ
by as much by chance."""
_AS_MUCH = 0.999
"""Four onsets of which the first and the third are late are as well a pause between the middle
ones: the same to the last place but for rounding."""
_STOP = 0.5
"""Beyond a ratio of 3 to 1 it is a stop, not unevenness; as scatter it counts no more than that."""
_NEXT = 0.14
"""A further onset belongs to the stretch if it is displaced by half of the ratio of 1.75 to 1."""
_SHORTEST_S = 0.02
"""Shorter than this no two gaps can be told apart (Hirsh 1959: the order of two tones)."""


@dataclass(frozen=True, slots=True)
class Turns:
    """Some onsets of a row, each second one, that are late by about the same time."""

    first: int
    count: int
    """The late onsets in the row are ``first``, ``first + 2``, ... so many of them."""
    delay_s: float
    gain: float
    """Squares that their lateness explains: those of delay / standard error."""
    left: float
    """Squares that are left over..."""
    free: int
    """...and how many are to be expected by chance."""

    @property
    def late(self) -> range:
        """Indices of the late onsets into the row."""
        return range(self.first, self.first + 2 * self.count - 1, 2)


class Row:
    """A run of one hand's onsets that are written equally far apart, at least three."""

    def __init__(self, points: Sequence[Point]) -> None:
        self.points = points
        self.gap_s = max((points[-1][1] - points[0][1]) / (len(points) - 1), _SHORTEST_S)
        self.gaps = [b[1] - a[1] for a, b in pairwise(points)]
        self.moved = [_displacement(a, b) for a, b in pairwise(self.gaps)]
        """How far each inner onset lies behind the middle of its neighbours, as a share of the
        gap."""
        usual = 1.5 * (STROKE_S / self.gap_s) ** 2 + 0.5 * PULSE_SHARE**2
        squares = (min(abs(x), _STOP) ** 2 / usual for x in self.moved)
        self._weights = _weights(self.gap_s, 2 * (_MOST + _AROUND))
        self._squares = list(accumulate(squares, initial=0.0))

    def squares(self) -> tuple[float, int]:
        """Squares of the displacements of all inner onsets, and how many these are."""
        return self._squares[-1], len(self.moved)

    def squares_round(self, turns: Turns) -> tuple[float, int]:
        """The same of those that these turns are told from."""
        first, last = self._reach(turns.late)
        low, high = max(first - 1, 0), min(last, len(self.moved))
        return self._squares[high] - self._squares[low], high - low

    def turns(self) -> Iterator[Turns]:
        """Every stretch that may be late by turns."""
        whole = len(self.points) - 1
        lags = [None, *self.moved, None]  # of the outermost nothing is known
        able = [lag is None or lag > _EACH for lag in lags]
        for first in range(whole):
            for count in range(_LEAST, _MOST + 1):
                last = first + 2 * (count - 1)
                if last > whole or not able[first] or not able[last - 2] or not able[last]:
                    break
                if first > 0 or last < whole:  # else those between would be early
                    yield self._fit(first, count)

    def _fit(self, first: int, count: int) -> Turns:
        late = range(first, first + 2 * count - 1, 2)
        low, high = self._reach(late)
        return Turns(first, count, *self._explained(late, low, high), high - low - 2)

    def _reach(self, late: range) -> tuple[int, int]:
        """The first and the last onset that say something of these."""
        return max(late[0] - _AROUND, 0), min(late[-1] + _AROUND, len(self.points) - 1)

    def _explained(self, late: Sequence[int], low: int, high: int) -> tuple[float, float, float]:
        gaps = self.gaps[low:high]
        lags = [0.0] * (len(gaps) + 2)
        for i in late:
            lags[i - low] += 1.0
            lags[i - low + 1] -= 1.0
        return _explained(gaps, lags[1:-1], self._weights)

    def is_one(self, turns: Turns) -> bool:
        """Whether a single late onset explains more, or a single pause as much."""
        low, high = self._reach(turns.late)
        single = (self._explained((i,), low, high) for i in turns.late)
        if any(delay_s > 0 and gain > _MORE * turns.gain for delay_s, gain, _ in single):
            return True
        gaps, none = self.gaps[low:high], [0.0] * (high - low)
        pauses = (
            _explained(gaps, [*none[:i], 1.0, *none[i + 1 :]], self._weights)
            for i in range(len(gaps))
        )
        return any(delay_s > 0 and gain > _AS_MUCH * turns.gain for delay_s, gain, _ in pauses)

    def widened(self, turns: Turns) -> Turns:
        """The stretch with what goes on in the same way before and after it."""
        first, last = turns.first, turns.late[-1]
        while self._goes_on(first - 2, first - 1):
            first -= 2
        while self._goes_on(last + 2, last + 1):
            last += 2
        count = (last - first) // 2 + 1
        return Turns(first, count, turns.delay_s, turns.gain, turns.left, turns.free)

    def _goes_on(self, late: int, between: int) -> bool:
        inner = range(1, len(self.points) - 1)
        if late not in inner or between not in inner:
            return False
        return self.moved[late - 1] > _NEXT and self.moved[between - 1] < -_NEXT


def _displacement(before_s: float, after_s: float) -> float:
    """0 in the middle of the neighbours, 1 at the later one's place."""
    whole = before_s + after_s
    return (before_s - after_s) / whole if whole > _SHORTEST_S else 0.0


def _weights(gap_s: float, most: int) -> list[tuple[float, float]]:
    """Cholesky's factors of the intervals' covariance: how much of the one before, and variance."""
    stroke, pulse = STROKE_S**2, (PULSE_SHARE * gap_s) ** 2
    out = [(0.0, pulse + 2 * stroke)]
    for _ in range(most):
        carried = stroke / out[-1][1]
        out.append((carried, pulse + 2 * stroke - stroke * carried))
    return out


def _explained(
    gaps: Sequence[float], late: Sequence[float], weights: Sequence[tuple[float, float]]
) -> tuple[float, float, float]:
    """How late, the squares that this explains, and those that are left."""
    one = d = g = 0.0
    ones = turned = crossed = plain = told = rest = 0.0
    for gap, lag, (carried, variance) in zip(gaps, late, weights, strict=False):
        one, d, g = 1 + carried * one, lag + carried * d, gap + carried * g
        ones += one * one / variance
        turned += d * d / variance
        crossed += one * d / variance
        plain += one * g / variance
        told += d * g / variance
        rest += g * g / variance
    free = turned - crossed * crossed / ones
    if free <= 1e-9:
        return 0.0, 0.0, max(rest - plain * plain / ones, 0.0)
    along = told - crossed * plain / ones
    gain = along * along / free
    return along / free, gain, max(rest - plain * plain / ones - gain, 0.0)


_LEAST_POINTS = 3
"""Onsets of a row of which one has a middle to be displaced from."""
_LIKELY = 3.25
"""The delay against its standard error from which it is worth a word, but not held against
anybody: about the z limit (3.5, Iglewicz & Hoaglin 1993). Our own choice: at 3.5 five planted rows
in 129 fewer are heard; at 3.0 practice-room timing is told of twice as often."""
_SURE = 5.0
"""...and from which it counts: of all stretches of all rows the likeliest is looked at, and in
practice strokes scatter unevenly."""
_TOGETHER_S = 0.02
"""Scatter between the hands where both strike: a professional's for each (8 ms, Jabusch 2006) and
some for practice. Where the other hand is late with this one the pulse is uneven, not the row."""
_MOST_SHARED = 16.0
"""What the other hand may say at most, as a square of standard errors."""
_UNSEEN = 3
"""How many onsets it is worth that hands mostly strike together, where none between is shared."""
_SCATTER_WEIGHT = 3
"""For how many seen squares the usual scatter stands."""


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
    surprise: float = _SURE
    """The delay in standard errors."""


def find_uneven_rows(
    points: Points, broken: frozenset[int], tolerance: Tolerance
) -> tuple[Uneven, ...]:
    """Rows played long and short by turns, the plainest stretch of each hand.

    ``broken`` are the moments that something came before: no row runs across it.
    """
    rows = [
        (hand, Row(run))
        for hand in Hand
        for run in even_runs(points[hand], broken)
        if len(run) >= _LEAST_POINTS
    ]
    if not rows:
        return ()
    whole = _sum(row.squares() for _, row in rows)
    times = {hand: {moment: at_s for moment, at_s, _ in points[hand]} for hand in Hand}
    best: dict[Hand, Uneven] = {}
    for hand, row in rows:
        other = times[hand.other]
        for turns in row.turns():
            if _is_large(row, turns, tolerance) and not row.is_one(turns):
                square = _sureness(row, turns, whole) + _beside(row, turns, other)
                surprise = sqrt(max(square, 0.0))
                if surprise > (best[hand].surprise if hand in best else _LIKELY):
                    best[hand] = _told(hand, row, turns, surprise)
    return tuple(best.values())


def _sum(squares: Iterator[tuple[float, int]]) -> tuple[float, int]:
    both = list(squares)
    return sum(square for square, _ in both), sum(count for _, count in both)


def _is_large(row: Row, turns: Turns, tolerance: Tolerance) -> bool:
    """Whether it is beyond what the tolerance leaves to expression."""
    limit = (tolerance.uneven_ratio - 1) / (tolerance.uneven_ratio + 1)
    return turns.delay_s > max(limit * row.gap_s, tolerance.uneven_ms / 1000)


def _sureness(row: Row, turns: Turns, whole: tuple[float, int]) -> float:
    """The delay in standard errors, squared, by the scatter round it and of all else."""
    near, count = row.squares_round(turns)
    left = turns.left + whole[0] - near + _SCATTER_WEIGHT
    free = turns.free + whole[1] - count + _SCATTER_WEIGHT
    return turns.gain * free / left


def _beside(row: Row, turns: Turns, other: Mapping[int, float]) -> float:
    """What the other hand says where it strikes too, as twice a log likelihood ratio.

    Above 0 where the displaced onsets come after the other hand's, below where with them.
    """
    late = _after(row, turns.late, other)
    if not late:
        return 0.0
    inner = range(max(turns.first - 1, 0), min(turns.late[-1] + 2, len(row.points)))
    between = _after(row, [i for i in inner if i not in turns.late], other)
    gone = median(late) - (median(between) if between else 0.0)
    square = _TOGETHER_S**2 * (1 / len(late) + 1 / max(len(between), _UNSEEN))
    said = (gone**2 - (gone - turns.delay_s) ** 2) / square
    return max(-_MOST_SHARED, min(said, _MOST_SHARED))


def _after(row: Row, onsets: Sequence[int], other: Mapping[int, float]) -> list[float]:
    """How long after the other hand's these onsets come, where both strike."""
    pairs = ((row.points[i][0], row.points[i][1]) for i in onsets)
    return [at_s - other[moment] for moment, at_s in pairs if moment in other]


def _told(hand: Hand, row: Row, turns: Turns, surprise: float) -> Uneven:
    late = row.widened(turns).late
    share = min(turns.delay_s / row.gap_s, 0.9)
    ratio = (1 + share) / (1 - share)
    first, last = row.points[late[0]][0], row.points[late[-1]][0]
    return Uneven(hand, first, last, ratio, turns.delay_s, surprise > _SURE, surprise)


_LEAST_INTERVALS = 8
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


def measure_evenness(points: Points, held: frozenset[int]) -> tuple[Evenness, ...]:
    """For each hand, its longest even row, where it is long enough."""
    out = []
    for hand in Hand:
        run = max(even_runs(points[hand], held), key=len, default=[])
        if len(run) > _LEAST_INTERVALS:
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
