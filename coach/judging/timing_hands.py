"""Hands together: one hand late or early at an onset, and hands that drift apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from coach.judging.timing_moments import Moment
from coach.judging.tolerance import Tolerance
from coach.score.model import Hand

_PLAIN = 0.2
"""The later hand is this near to the line, as a share of the hands' distance: then the other was
early. Being late is by far the likelier mistake, so it needs plain evidence."""
_ALONE = 1.3
"""How much more is asked where the other hand does not play at the same onset."""
_ALONE_SHARE = 0.3
_ALONE_NOISE = 2.5
_START_S = 0.06
"""Hands that drift start together."""


@dataclass(frozen=True, slots=True)
class Parted:
    """One hand's onset away from where the line and the other hand have it."""

    moment: int
    hand: Hand
    error_s: float
    """Positive when late."""


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
    row: Sequence[Moment], line: Sequence[float], beat_s: float, tolerance: Tolerance
) -> tuple[Parted, ...]:
    """Single onsets at which one hand was late or early, in order of time.

    ``beat_s`` is the length of a beat: hands part further when the music is slow.
    """
    limit = tolerance.hands_apart_ms(beat_s * 1000) / 1000
    found = []
    for i, moment in enumerate(row):
        if any(hand.loose for hand in moment.hands):
            continue
        if len(moment.hands) == 2:
            one = _of_two(moment, i, line[i], limit)
        else:
            one = _of_one(row, line, i, _ALONE * limit)
        if one is not None:
            found.append(one)
    return tuple(found)


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
    if abs(error) <= limit or i in (0, len(row) - 1):
        return None
    others = max(abs(row[j].at_s - line[j]) for j in (i - 1, i + 1))
    span = line[i + 1] - line[i - 1]
    if abs(error) <= max(_ALONE_SHARE * span, _ALONE_NOISE * others):
        return None
    return Parted(i, row[i].hands[0].hand, error)


def drift(row: Sequence[Moment], tolerance: Tolerance) -> Drift | None:
    """The hands' even parting over the repetition, None where they keep together."""
    shared = [
        (m.x, m.hands[1].at_s - m.hands[0].at_s, i)
        if m.hands[0].hand is Hand.RIGHT
        else (m.x, m.hands[0].at_s - m.hands[1].at_s, i)
        for i, m in enumerate(row)
        if len(m.hands) == 2
    ]
    if len(shared) < 3:
        return None
    slopes = (
        [(b[1] - a[1]) / (b[0] - a[0]) for k, a in enumerate(shared) for b in shared[k + 1 :]]
        if len(shared) <= 40
        else []
    )
    if not slopes:
        return None
    slope = median(slopes)
    span = shared[-1][0] - shared[0][0]
    total = slope * span
    start = median(d - slope * (x - shared[0][0]) for x, d, _ in shared)
    scatter = median(abs(d - start - slope * (x - shared[0][0])) for x, d, _ in shared)
    if abs(total) * 1000 <= tolerance.apart_ms or scatter > 0.15 * abs(total):
        return None
    if abs(start) > max(_START_S, 0.35 * abs(total)):
        return None
    hand = Hand.LEFT if total > 0 else Hand.RIGHT
    own = [i for i, m in enumerate(row) if m.of(hand)]
    return Drift(hand, own[1], own[-1], abs(total))
