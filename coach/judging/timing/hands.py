"""Hands together: one hand late or early at an onset, and chords that fell apart.

A hand that came in half a beat, a beat or more off and stays so has not drifted: it has miscounted.
Its distance from the other hand is two level lines with a step between them. Whose step it was
shows in whose own interval was too long or too short there. Once it is found that hand is put back
in its place, so that all else is judged as if it had not happened.

Hands that drift apart: one of them leaves the common tempo evenly and comes ever more late.

Three readings of the playing are fitted and compared: both hands on one straight tempo line up to
some place and on another after it; the right hand alone leaving the line there; the left alone.
A hand has drifted where its leaving explains the playing far better than a change of tempo that
both share. Which hand it was shows in how they began: the other one went on as both had begun.

Conventions
-----------
``u`` is a place in the score as a share of the way from the first onset to the last.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from itertools import accumulate, combinations
from math import sqrt
from statistics import linear_regression, mean, median

from coach.judging.timing.habits import Habits
from coach.judging.timing.onsets import Moment
from coach.judging.tolerance import Tolerance
from coach.score.model import Hand

# A straight tempo line that some of the onsets leave at a bend, fitted from sums.
#
# Conventions
# -----------
# ``u`` is a place in the score as a share of the way from the first onset to the last.


@dataclass(frozen=True, slots=True)
class HandPoint:
    """One hand's onset."""

    moment: int
    u: float
    at_s: float
    hand: Hand


class SuffixSums:
    """Sums over points, from any of them to the last, so that each reading costs the same."""

    def __init__(self, points: Sequence[HandPoint]) -> None:
        self.us = [point.u for point in points]
        row = [(0.0, 0.0, 0.0, 0.0, 0.0, 0.0)]
        for point in reversed(points):
            n, u, t, uu, ut, tt = row[-1]
            x, y = point.u, point.at_s
            row.append((n + 1, u + x, t + y, uu + x * x, ut + x * y, tt + y * y))
        self.after = row[::-1]

    def bent(self, mine: SuffixSums, start: float) -> tuple[float, float]:
        """All points on one line, those in ``mine`` leaving it after ``start``.

        The squares left over and the slope of the leaving.
        """
        k = sum(u <= start for u in mine.us)
        m, mu, mt, muu, mut, _ = mine.after[k]
        g, gg = mu - start * m, muu - 2 * start * mu + start * start * m
        gu, gt = muu - start * mu, mut - start * mt
        n, u, t, uu, ut, tt = self.after[0]
        s_uu, s_ut, s_tt = uu - u * u / n, ut - u * t / n, tt - t * t / n
        s_gg, s_gu, s_gt = gg - g * g / n, gu - g * u / n, gt - g * t / n
        free_gg, free_gt = s_gg - s_gu * s_gu / s_uu, s_gt - s_gu * s_ut / s_uu
        left = s_tt - s_ut * s_ut / s_uu
        if free_gg <= 1e-9:
            return max(left, 0.0), 0.0
        return max(left - free_gt * free_gt / free_gg, 0.0), free_gt / free_gg


_PLAIN = 0.2
"""The later hand is this near to the line, as a share of the hands' distance: then the other was
early. Being late is by far the likelier mistake, so it needs plain evidence."""
_LEAST_LINE = 3
"""Moments that make a line: between two there is no saying which hand kept the beat."""
_LEAST_PULSE = 3
"""Onsets from which a hand has a pulse of its own that it could be early against. Where the other
plays nearly all, the line is that hand's, and lies near it also where it falls behind."""
_ALONE = 1.2
"""How much more is asked where the other hand does not play at the same onset."""
_USUALLY_S, _USUALLY_SHARE, _USUALLY_WEIGHT = 0.025, 0.03, 4
"""How far hands part before any parting is seen (the melody's lead of 30 ms, Goebl 2001), or this
share of the beat, since expressive parting grows as the music slows; and for how many seen onsets
it stands."""
_FAR_S = 0.15
"""One far parting says no more of the others than this."""
_ALONE_SHARE, _ALONE_NOISE = 0.3, 2.5
"""An onset that one hand has alone is off where it is so by more than this share of the way between
its neighbours, and by so many times what they are off themselves. Own choice: what all of them
share is tempo, and no hand's."""


@dataclass(frozen=True, slots=True)
class Parted:
    """One hand's onset away from where the line and the other hand have it."""

    moment: int
    hand: Hand
    error_s: float
    """Positive when late."""


@dataclass(frozen=True, slots=True)
class Split:
    """A chord of one hand of which a note came late, as an event of its own."""

    moment: int
    hand: Hand
    note: int
    gap_s: float


def find_parted_hands(
    row: Sequence[Moment],
    line: Sequence[float],
    beat_s: float,
    tolerance: Tolerance,
    habits: Habits | None = None,
) -> tuple[Parted, ...]:
    """Single onsets at which one hand was late or early, in order of time.

    ``beat_s`` is the length of a beat: hands part further when the music is slow. A parting that
    the habits show as meant is left out.
    """
    limit = tolerance.hands_apart_ms(beat_s * 1000) / 1000
    least = tolerance.hands_apart_least_ms(beat_s * 1000) / 1000
    apart = _distances(row)
    pulsed = {
        hand for hand in Hand if sum(moment.of(hand) is not None for moment in row) >= _LEAST_PULSE
    }
    found = []
    for i, moment in enumerate(row):
        if moment.torn or any(hand.loose for hand in moment.hands):
            continue
        if len(moment.hands) == 2:
            stands_out = abs(apart[i]) > least and _unusual(apart, i, beat_s) > tolerance.z_limit
            due_s = line[i] if len(row) >= _LEAST_LINE else None
            one = _of_two(moment, i, due_s, least if stands_out else limit, pulsed)
        else:
            one = _of_one(row, line, i, _ALONE * limit)
        if one is not None and not _is_meant(one, moment, beat_s, habits):
            found.append(one)
    return tuple(found)


def _distances(row: Sequence[Moment]) -> dict[int, float]:
    """How far the hands are apart at each moment that both struck in time."""
    return {
        i: moment.apart_s
        for i, moment in enumerate(row)
        if moment.apart_s is not None and not any(hand.loose for hand in moment.hands)
    }


def _unusual(apart: Mapping[int, float], i: int, beat_s: float) -> float:
    """How far one distance is from the others of this repetition, in standard deviations.

    Where these keep together, a parting stands out that would be expression in a freer playing.
    """
    others = [distance for j, distance in apart.items() if j != i]
    count = len(others)
    middle = median(others) * count / (count + 1) if others else 0.0
    usual = max(_USUALLY_S, _USUALLY_SHARE * beat_s)
    squares = sum(min(abs(x - middle), _FAR_S) ** 2 for x in others)
    variance = (squares + _USUALLY_WEIGHT * usual**2) / (count + _USUALLY_WEIGHT)
    return abs(apart[i] - middle) / sqrt(variance * (1 + 1 / (count + 1)))


def _is_meant(one: Parted, moment: Moment, beat_s: float, habits: Habits | None) -> bool:
    if habits is None:
        return False
    error_ms, beat_ms = one.error_s * 1000, beat_s * 1000
    return habits.is_expressive(moment.onset_quarters, one.hand, error_ms, beat_ms)


def _of_two(
    moment: Moment, i: int, due_s: float | None, limit: float, pulsed: Set[Hand]
) -> Parted | None:
    """The hand that parted from the other: the later one, unless the line says plainly no."""
    early, late = sorted(moment.hands, key=lambda hand: hand.at_s)
    clear_s = late.first_s - early.last_s
    if clear_s <= limit:
        return None
    kept_beat = due_s is not None and abs(late.at_s - due_s) < _PLAIN * (late.at_s - early.at_s)
    if kept_beat and early.hand in pulsed and clear_s > _ALONE * limit:
        return Parted(i, early.hand, -clear_s)
    return Parted(i, late.hand, clear_s)


def _of_one(row: Sequence[Moment], line: Sequence[float], i: int, limit: float) -> Parted | None:
    """A lone onset counts where its neighbours keep the line and it leaves it clearly."""
    error = row[i].at_s - line[i]
    if abs(error) <= limit or i in (0, len(row) - 1) or row[i].broken:
        return None
    others = max(abs(row[j].at_s - line[j]) for j in (i - 1, i + 1))
    span = line[i + 1] - line[i - 1]
    if abs(error) <= max(_ALONE_SHARE * span, _ALONE_NOISE * others):
        return None
    return Parted(i, row[i].hands[0].hand, error)


def find_split_chords(
    row: Sequence[Moment], beat_s: float, tolerance: Tolerance
) -> tuple[Split, ...]:
    """Chords that fell apart into two events; a chord rolled evenly is none."""
    limit = tolerance.hands_apart_ms(beat_s * 1000) / 1000
    return tuple(
        Split(i, hand.hand, hand.behind, hand.gap_s)
        for i, moment in enumerate(row)
        for hand in moment.hands
        if hand.behind is not None and hand.gap_s > limit and not hand.loose
    )


_DISPLACED_BEATS, _DISPLACED_S = 0.4, 0.2
"""A hand is displaced by at least so much of a beat, and so many seconds: a little less than half a
beat, the least that is miscounted. Own choice: by less a hand lags."""
_LEVEL = 3
"""Onsets before the step and after it that show a level distance: own choice, the fewest of which
one may be off."""
_STILL_OFF = 0.5
"""The last of them show at least so much of it: the hand stayed off. Own choice."""
_LEVEL_SHARE = 0.25
"""How far from level the distances may lie, in the middle, as a share of the step: own choice."""
_STEPS_BETTER = 0.6
"""How much less a step must leave over than an even drift does: own choice."""
_REACHES_BEATS = 2.0
"""Between two onsets of a hand further apart than this nothing says where it was. Own choice."""


@dataclass(frozen=True, slots=True)
class Displaced:
    """One hand that left the other by a step, and stayed there."""

    hand: Hand
    first: int
    """The first moment that is displaced."""
    shift_s: float
    """Positive when it came late."""


def find_displaced_hand(row: Sequence[Moment], beat_x: float) -> Displaced | None:
    """The hand that came in off its beat and stayed so to the end; ``beat_x`` is in quarters."""
    apart = list(_follow_distance(row, _REACHES_BEATS * beat_x))
    if len(apart) < 2 * _LEVEL:
        return None
    distances = [distance for _, distance in apart]
    period_s = (row[-1].at_s - row[0].at_s) / (row[-1].x - row[0].x)
    least_s = max(_DISPLACED_BEATS * beat_x * period_s, _DISPLACED_S)
    if abs(median(distances[-_LEVEL:])) < _STILL_OFF * least_s:
        return None  # nearly all that is played
    split = _find_step(distances)
    before, after = median(distances[:split]), median(distances[split:])
    shift_s = after - before
    if abs(shift_s) < least_s:
        return None
    left = mean(abs(d - (before if i < split else after)) for i, d in enumerate(distances))
    if left > _LEVEL_SHARE * abs(shift_s) or abs(before) > _LEVEL_SHARE * abs(shift_s):
        return None
    if left > _STEPS_BETTER * _measure_ramp([(row[i].x, d) for i, d in apart]):
        return None
    hand, shift_s = _choose_displaced(row, apart[split][0], period_s, shift_s)
    own = [i for i in range(apart[split][0], len(row)) if row[i].of(hand) is not None]
    return Displaced(hand, own[0], shift_s) if len(own) >= _LEAST_OWN else None


def put_back(row: Sequence[Moment], displaced: Displaced) -> tuple[Moment, ...]:
    """The moments as they would have been had the hand not been displaced."""
    return tuple(
        _move_hand(moment, displaced.hand, -displaced.shift_s) if i >= displaced.first else moment
        for i, moment in enumerate(row)
    )


def _move_hand(moment: Moment, whose: Hand, by_s: float) -> Moment:
    hands = tuple(
        hand._replace(at_s=hand.at_s + by_s, first_s=hand.first_s + by_s, last_s=hand.last_s + by_s)
        if hand.hand is whose
        else hand
        for hand in moment.hands
    )
    return moment._replace(hands=hands, at_s=sum(hand.at_s for hand in hands) / len(hands))


def _follow_distance(row: Sequence[Moment], reach_x: float) -> Iterator[tuple[int, float]]:
    """By moment, the left hand after the right; where one is silent, from its neighbours."""
    own = {hand: _list_own(row, hand) for hand in Hand}
    for i, moment in enumerate(row):
        left, right = (_time_of(own[hand], moment.x, reach_x) for hand in (Hand.LEFT, Hand.RIGHT))
        if left is not None and right is not None:
            yield i, left - right


def _list_own(row: Sequence[Moment], hand: Hand) -> list[tuple[float, float]]:
    """Place and time of each of a hand's onsets."""
    return [(m.x, onset.at_s) for m in row if (onset := m.of(hand)) is not None]


def _time_of(onsets: Sequence[tuple[float, float]], x: float, reach_x: float) -> float | None:
    """When a hand was at a place; None where it has no two onsets near enough."""
    after = bisect_left(onsets, (x,))
    if after < len(onsets) and onsets[after][0] == x:
        return onsets[after][1]
    if not 0 < after < len(onsets):
        return None
    (x0, t0), (x1, t1) = onsets[after - 1], onsets[after]
    return t0 + (t1 - t0) * (x - x0) / (x1 - x0) if x1 - x0 <= reach_x else None


def _find_step(distances: Sequence[float]) -> int:
    """Where two levels, one before and one after, fit best: by least squares, from sums."""
    before = list(accumulate(distances, initial=0.0))
    total, count = before[-1], len(distances)
    return max(
        range(_LEVEL, count - _LEVEL + 1),
        key=lambda k: before[k] ** 2 / k + (total - before[k]) ** 2 / (count - k),
    )


def _measure_ramp(places: Sequence[tuple[float, float]]) -> float:
    """How far distances lie, in the mean, from one straight line (least squares)."""
    slope, base = linear_regression(*zip(*places, strict=True))
    return mean(abs(d - base - slope * x) for x, d in places)


def _choose_displaced(
    row: Sequence[Moment], split: int, period_s: float, shift_s: float
) -> tuple[Hand, float]:
    """Whose step it was, and how late it came: the left hand by it, or the right by its contrary.

    The one whose own interval over the step was longer or shorter by it than the tempo.
    """
    excess_s = {}
    for hand in Hand:
        own = _list_own(row, hand)
        after = next((k for k, (x, _) in enumerate(own) if x >= row[split].x), 0)
        (x0, t0), (x1, t1) = own[after - 1 : after + 1] if after else (own[0], own[0])
        excess_s[hand] = t1 - t0 - period_s * (x1 - x0)
    left, right = excess_s[Hand.LEFT], excess_s[Hand.RIGHT]
    if abs(left - shift_s) + abs(right) <= abs(right + shift_s) + abs(left):
        return Hand.LEFT, shift_s
    return Hand.RIGHT, -shift_s


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
"""Fewer onsets, of a hand or of both together, show no way that leads apart: own choice."""
_WITHOUT, _BETTER_WITHOUT = 0.5, 1.0
"""What must remain of a drift, and of its being better, when any one onset of either hand is left
out: one late note is none."""
_SCATTER = 0.15
"""Hands part evenly where the scatter round the line is this small against the whole."""
_BEGUN_S = 0.06
_BEGUN_SHARE = 0.35
"""...and where they began together."""
_MOST_SHARED = 32
"""So many distances are compared, each with each: more say nothing new, and the work would grow
with their square."""


@dataclass(frozen=True, slots=True)
class Drift:
    """One hand that moves away from the other evenly."""

    hand: Hand
    first: int
    """The first moment that is displaced."""
    last: int
    total_s: float
    """How far apart at the end; positive when the hand is late, negative when it ran ahead."""


def find_hands_drift(
    row: Sequence[Moment], line: Sequence[float], tolerance: Tolerance
) -> Drift | None:
    """The hands' even parting over the repetition, None where they keep together."""
    points = _points(row, line)
    if points is None:
        return None
    everybody = SuffixSums(points)
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
    shared = _drift_distances(row)
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


def _drift_distances(row: Sequence[Moment]) -> list[tuple[float, float]]:
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


def _points(row: Sequence[Moment], line: Sequence[float]) -> list[HandPoint] | None:
    """Every onset of each hand; None where nothing can have drifted."""
    if len(row) < _LEAST_OWN or not any(
        abs(hand.at_s - due) > _APART_S
        for moment, due in zip(row, line, strict=True)
        for hand in moment.hands
    ):
        return None
    start, span = row[0].x, row[-1].x - row[0].x
    points = [
        HandPoint(i, (moment.x - start) / span, hand.at_s - row[0].at_s, hand.hand)
        for i, moment in enumerate(row)
        for hand in moment.hands
        if not hand.loose
    ]
    return points if len({point.hand for point in points}) == len(Hand) else None


def _leaving(points: Sequence[HandPoint], everybody: SuffixSums, hand: Hand) -> _Leaving | None:
    own = [point for point in points if point.hand is hand]
    if len({point.u for point in own}) < _LEAST_OWN:
        return None
    mine = SuffixSums(own)
    low, high = own[0].u, own[-1].u
    out = []
    for share in _STARTS:
        start = low + share * (high - low)
        left, slope = everybody.bent(mine, start)
        out.append(_Leaving(hand, start, slope * (high - start), left))
    return min(out, key=lambda one: one.left)


def _explains(points: Sequence[HandPoint], found: _Leaving) -> bool:
    """Whether one hand's leaving says far more than a change of tempo, and not by one onset."""
    if not _is_better(points, found, _BETTER):
        return False
    return all(
        _is_better([p for p in points if (p.moment, p.hand) != out], found, _BETTER_WITHOUT)
        for out in {(p.moment, p.hand) for p in points if p.u > found.start}
    )


def _is_better(points: Sequence[HandPoint], found: _Leaving, times: float) -> bool:
    everybody, mine = SuffixSums(points), SuffixSums([p for p in points if p.hand is found.hand])
    left, slope = everybody.bent(mine, found.start)
    total = slope * (points[-1].u - found.start)
    if total / found.total_s < _WITHOUT:
        return False
    shared = min(everybody.bent(everybody, turn)[0] for turn in _TURNS)
    return shared + _SMALLEST >= times * (left + _SMALLEST)
