"""Hands that drift apart: one of them leaves the common tempo evenly and comes ever more late.

Three readings of the playing are fitted and compared: both hands on one straight tempo line up to
some place and on another after it; the right hand alone leaving the line there; the left alone.
A hand has drifted where its leaving explains the playing far better than a change of tempo that
both share. Which hand it was shows in how they began: the other one went on as both had begun.

Conventions
-----------
``u`` is a place in the score as a share of the way from the first onset to the last.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from statistics import median

from coach.judging.timing_bend import Struck, Sums
from coach.judging.timing_moments import Moment
from coach.judging.tolerance import Tolerance
from coach.score.model import Hand

_STARTS = (0.0, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3)
"""Where a hand may leave the line, as shares of its own way: hands that drift start together."""
_TURNS = (0.0, 0.15, 0.3, 0.5, 0.7)
"""Where the tempo of both may change."""
_BETTER = 2.5
"""How many times smaller the squares left by one hand's leaving must be than those of a change of
tempo of both. Alike readings differ by chance by less: F(20, 20) is 2.1 at 5 %."""
_ALIKE = 1.01
"""Readings whose squares differ by less are the same: then a hand lags sooner than it hurries. Any
wider, and the guess costs more than it gives: the hand that hurries, often the easier one, shows
in the same small differences."""
_APART_S = 0.05
"""Hands that never lie further than this from the local line did not drift (Goebl 2001: the
melody's lead is 30 ms)."""
_SMALLEST = 1e-5
"""Squares left that are as good as none, in s²: 1 ms at ten onsets."""
_LEAST_OWN = 3
_WITHOUT = 0.5
_BETTER_WITHOUT = 1.0
"""What must remain of a drift, and of its being better, when any one onset of either hand is left
out: one late note is none."""
_SCATTER = 0.15
"""Hands part evenly where the scatter round the line is this small against the whole."""
_BEGUN_S = 0.06
_BEGUN_SHARE = 0.35
"""...and where they began together."""
_MOST_SHARED = 32


@dataclass(frozen=True, slots=True)
class Drift:
    """One hand that moves away from the other evenly."""

    hand: Hand
    first: int
    """The first moment that is displaced."""
    last: int
    total_s: float
    """How far apart at the end; positive when the hand is late, negative when it ran ahead."""


def drift(row: Sequence[Moment], line: Sequence[float], tolerance: Tolerance) -> Drift | None:
    """The hands' even parting over the repetition, None where they keep together."""
    points = _points(row, line)
    if points is None:
        return None
    everybody = Sums(points)
    found = _likelier([one for hand in Hand if (one := _leaving(points, everybody, hand))])
    if found is None or abs(found.total_s) * 1000 <= tolerance.apart_ms:
        return None
    if not _explains(points, found) and not _part_evenly(row, tolerance):
        return None
    own = [point for point in points if point.hand is found.hand]
    first = next(point.moment for point in own if point.u > found.start)
    return Drift(found.hand, first, own[-1].moment, found.total_s)


def _likelier(readings: Sequence[_Leaving]) -> _Leaving | None:
    """The reading that leaves least; of two that are the same, that a hand lags."""
    if not readings:
        return None
    limit = _ALIKE * (min(one.left for one in readings) + _SMALLEST)
    alike = [one for one in readings if one.left + _SMALLEST <= limit]
    return min(alike, key=lambda one: (one.total_s < 0, one.left))


def _part_evenly(row: Sequence[Moment], tolerance: Tolerance) -> bool:
    """Whether the hands' distance grows evenly where both play, however free the tempo is."""
    shared = _distances(row)
    if len(shared) < _LEAST_OWN:
        return False
    start, span = shared[0][0], shared[-1][0] - shared[0][0]
    slope = median((b[1] - a[1]) / (b[0] - a[0]) for a, b in combinations(shared, 2))
    total = slope * span
    begun = median(apart - slope * (x - start) for x, apart in shared)
    scatter = median(abs(apart - begun - slope * (x - start)) for x, apart in shared)
    if abs(total) * 1000 <= tolerance.apart_ms or scatter > _SCATTER * abs(total):
        return False
    return abs(begun) <= max(_BEGUN_S, _BEGUN_SHARE * abs(total))


def _distances(row: Sequence[Moment]) -> list[tuple[float, float]]:
    """Place and distance wherever both hands play; a few dozen of them at most."""
    out = [(moment.x, moment.apart_s) for moment in row if moment.apart_s is not None]
    step = -(-len(out) // _MOST_SHARED) or 1
    return out[::step]


@dataclass(frozen=True, slots=True)
class _Leaving:
    """One hand that leaves the line at ``start``, and the squares that this reading leaves."""

    hand: Hand
    start: float
    total_s: float
    left: float


def _points(row: Sequence[Moment], line: Sequence[float]) -> list[Struck] | None:
    """Every onset of each hand; None where nothing can have drifted."""
    if len(row) < _LEAST_OWN or not any(
        abs(hand.at_s - due) > _APART_S
        for moment, due in zip(row, line, strict=True)
        for hand in moment.hands
    ):
        return None
    start, span = row[0].x, row[-1].x - row[0].x
    points = [
        Struck(i, (moment.x - start) / span, hand.at_s - row[0].at_s, hand.hand)
        for i, moment in enumerate(row)
        for hand in moment.hands
        if not hand.loose
    ]
    return points if len({point.hand for point in points}) == len(Hand) else None


def _leaving(points: Sequence[Struck], everybody: Sums, hand: Hand) -> _Leaving | None:
    own = [point for point in points if point.hand is hand]
    if len({point.u for point in own}) < _LEAST_OWN:
        return None
    mine = Sums(own)
    low, high = own[0].u, own[-1].u
    out = []
    for share in _STARTS:
        start = low + share * (high - low)
        left, slope = everybody.bent(mine, start)
        out.append(_Leaving(hand, start, slope * (high - start), left))
    return min(out, key=lambda one: one.left)


def _explains(points: Sequence[Struck], found: _Leaving) -> bool:
    """Whether one hand's leaving says far more than a change of tempo, and not by one onset."""
    if not _is_better(points, found, _BETTER):
        return False
    return all(
        _is_better([p for p in points if (p.moment, p.hand) != out], found, _BETTER_WITHOUT)
        for out in {(p.moment, p.hand) for p in points if p.u > found.start}
    )


def _is_better(points: Sequence[Struck], found: _Leaving, times: float) -> bool:
    everybody, mine = Sums(points), Sums([p for p in points if p.hand is found.hand])
    left, slope = everybody.bent(mine, found.start)
    total = slope * (points[-1].u - found.start)
    if total / found.total_s < _WITHOUT:
        return False
    shared = min(everybody.bent(everybody, turn)[0] for turn in _TURNS)
    return shared + _SMALLEST >= times * (left + _SMALLEST)
