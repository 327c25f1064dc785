"""Hands together: one hand late or early at an onset, and hands that drift apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from statistics import median

from coach.judging.habits import Habits
from coach.judging.timing_moments import Moment
from coach.judging.tolerance import Tolerance
from coach.score.model import Hand

_PLAIN = 0.2
"""The later hand is this near to the line, as a share of the hands' distance: then the other was
early. Being late is by far the likelier mistake, so it needs plain evidence."""
_ALONE = 1.2
"""How much more is asked where the other hand does not play at the same onset."""
_ALONE_SHARE = 0.3
_ALONE_NOISE = 2.5
_START_S = 0.06
_START_SHARE = 0.35
"""Hands that drift start together."""
_SCATTER = 0.15
"""...and part evenly: the scatter round the line is small against the whole."""
_MOST_SHARED = 32


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


@dataclass(frozen=True, slots=True)
class Drift:
    """One hand that moves away from the other evenly."""

    hand: Hand
    first: int
    """The first moment that is displaced."""
    last: int
    total_s: float
    """How far apart at the end; positive when the hand is late."""


def parted(
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
    found = []
    for i, moment in enumerate(row):
        if moment.torn or any(hand.loose for hand in moment.hands):
            continue
        if len(moment.hands) == 2:
            one = _of_two(moment, i, line[i], limit)
        else:
            one = _of_one(row, line, i, _ALONE * limit)
        if one is not None and not _is_meant(one, moment, beat_s, habits):
            found.append(one)
    return tuple(found)


def _is_meant(one: Parted, moment: Moment, beat_s: float, habits: Habits | None) -> bool:
    if habits is None:
        return False
    error_ms, beat_ms = one.error_s * 1000, beat_s * 1000
    return habits.is_expressive(moment.onset_quarters, one.hand, error_ms, beat_ms)


def _of_two(moment: Moment, i: int, line_s: float, limit: float) -> Parted | None:
    """The hand that parted from the other: the later one, unless the line says plainly no."""
    early, late = sorted(moment.hands, key=lambda hand: hand.at_s)
    apart = late.first_s - early.last_s
    if apart <= limit:
        return None
    plainly_early = abs(late.at_s - line_s) < _PLAIN * (late.at_s - early.at_s)
    if plainly_early and apart > _ALONE * limit:
        return Parted(i, early.hand, -apart)
    return Parted(i, late.hand, apart)


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


def splits(row: Sequence[Moment], beat_s: float, tolerance: Tolerance) -> tuple[Split, ...]:
    """Chords that fell apart into two events; a chord rolled evenly is none."""
    limit = tolerance.hands_apart_ms(beat_s * 1000) / 1000
    return tuple(
        Split(i, hand.hand, hand.behind, hand.gap_s)
        for i, moment in enumerate(row)
        for hand in moment.hands
        if hand.behind is not None and hand.gap_s > limit and not hand.loose
    )


def drift(row: Sequence[Moment], tolerance: Tolerance) -> Drift | None:
    """The hands' even parting over the repetition, None where they keep together."""
    shared = _distances(row)
    if len(shared) < 3:
        return None
    span = shared[-1][0] - shared[0][0]
    slope = _middle_slope(shared)
    total = slope * span
    start = median(apart - slope * (x - shared[0][0]) for x, apart in shared)
    scatter = median(abs(apart - start - slope * (x - shared[0][0])) for x, apart in shared)
    if abs(total) * 1000 <= tolerance.apart_ms or scatter > _SCATTER * abs(total):
        return None
    if abs(start) > max(_START_S, _START_SHARE * abs(total)):
        return None
    hand = Hand.LEFT if total > 0 else Hand.RIGHT
    own = [i for i, moment in enumerate(row) if moment.of(hand)]
    return Drift(hand, own[1], own[-1], abs(total))


def _distances(row: Sequence[Moment]) -> list[tuple[float, float]]:
    """Left hand after right, in seconds, wherever both play; a few dozen of them at most."""
    out = []
    for moment in row:
        right, left = moment.of(Hand.RIGHT), moment.of(Hand.LEFT)
        if right is not None and left is not None:
            out.append((moment.x, left.at_s - right.at_s))
    step = -(-len(out) // _MOST_SHARED) or 1
    return out[::step]


def _middle_slope(points: Sequence[tuple[float, float]]) -> float:
    """The median of the slopes of all pairs: one hand late once does not tilt it (Theil-Sen)."""
    return median((b[1] - a[1]) / (b[0] - a[0]) for a, b in combinations(points, 2))
