"""Every other onset of an even row late: how far, and how much better that explains the row.

The row's intervals are fitted twice by least squares, with one even pulse and with some onsets a
constant time late. Two things scatter: the pulse (each interval apart) and the strokes (each onset,
so that one interval is longer and the next shorter by it), after Wing & Kristofferson (1973). That
strokes alone alternate long and short is thus allowed for.

Conventions
-----------
Squares are in units of the scatter expected before any is seen, so that each is about 1 by chance.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise

from coach.judging.timing_rows import Point

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
