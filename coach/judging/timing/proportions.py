"""Proportions: a dotted figure played even, a triplet played as two sixteenths and an eighth.

Whether it is the player's rule is asked, not whether one figure came out so: the middle of all
such figures of the hand counts.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from coach.judging.timing.evenness import Point, Points, held_between
from coach.judging.tolerance import Tolerance
from coach.score.model import Hand

_PLAYED_EVEN = ((3.0, 1.5, 1), (2.0, 1.2, 2))
"""Long against short as written; the ratio below which it counts as played even; and from how
many. Between even and dotted the middle by ratio is 1.7, and softened dots are common practice,
so 1.5; a lilting 2:1 is softened to 1.5 and less by good players, so 1.2, and not once only."""
_LEAST_TRIPLETS = 2
_TRIPLET_LONG = 0.43
_TRIPLET_SHORT = 0.30
"""Shares of the beat: half-way between the triplet's third and the half or quarter."""


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure that was played in other proportions than written."""

    hand: Hand
    moment: int
    """Moment of the displaced note."""
    words: str
    error_s: float
    """How far it was displaced, negative when early."""


def figures(
    hands: Points, held: frozenset[int], beat_x: float, tolerance: Tolerance
) -> tuple[Figure, ...]:
    """Figures in wrong proportions, at most one of a kind for each hand: the worst.

    ``beat_x`` is the beat in quarters.
    """
    found = []
    for hand in Hand:
        points = hands[hand]
        for written, even, least in _PLAYED_EVEN:
            cases = list(_long_short(points, held, written))
            worst = None
            if len(cases) >= least:
                worst = _played_even(cases, hand, written, even, tolerance)
            found += [worst] if worst else []
        uneven = _triplets(points, held, beat_x, hand)
        found += [uneven] if uneven else []
    return tuple(found)


def _played_even(
    cases: Sequence[tuple[float, float, int]],
    hand: Hand,
    written: float,
    even: float,
    tolerance: Tolerance,
) -> Figure | None:
    if median(ratio for ratio, _, _ in cases) >= even:
        return None
    ratio, error_s, moment = min(cases, key=lambda case: round(case[0], 3))
    if ratio >= even or -error_s * 1000 <= tolerance.late_floor_ms:
        return None
    name = "dotted" if written == 3 else "long and short"
    return Figure(hand, moment, f"even: written {name}", error_s)


def _long_short(
    points: Sequence[Point], held: frozenset[int], written: float
) -> Iterator[tuple[float, float, int]]:
    """Ratio, displacement in seconds and moment of each short note after a long one."""
    for before, short, after in zip(points, points[1:], points[2:], strict=False):
        long_x, short_x = short[2] - before[2], after[2] - short[2]
        if abs(long_x - written * short_x) > 1e-6 or held_between(before, after, held):
            continue
        long_s, short_s = short[1] - before[1], after[1] - short[1]
        if long_s > 0 and short_s > 0:
            due = before[1] + (long_s + short_s) * written / (written + 1)
            yield long_s / short_s, short[1] - due, short[0]


def _triplets(
    points: Sequence[Point], held: frozenset[int], beat_x: float, hand: Hand
) -> Figure | None:
    cases = list(_thirds(points, held, beat_x))
    if len(cases) < _LEAST_TRIPLETS:
        return None
    first, second, third = (median(case[0][k] for case in cases) for k in range(3))
    if third > _TRIPLET_LONG and max(first, second) < _TRIPLET_SHORT:
        words = "triplet played short, short, long"
    elif first > _TRIPLET_LONG and max(second, third) < _TRIPLET_SHORT:
        words = "triplet played long, short, short"
    else:
        return None
    shares, whole_s, moment = cases[0]
    return Figure(hand, moment, words, (shares[0] - 1 / 3) * whole_s)


def _thirds(
    points: Sequence[Point], held: frozenset[int], beat_x: float
) -> Iterator[tuple[tuple[float, float, float], float, int]]:
    """Shares of the whole, its seconds and the second note's moment, for each triplet.

    A triplet is three equal notes that fill two beats, one or half of one, from its beginning.
    """
    for run in zip(points, points[1:], points[2:], points[3:], strict=False):
        gaps = [b[2] - a[2] for a, b in pairwise(run)]
        whole_x = run[3][2] - run[0][2]
        inside = run[0][2] % whole_x
        if max(gaps) - min(gaps) > 1e-6 or min(inside, whole_x - inside) > 1e-6:
            continue
        if all(abs(whole_x - k * beat_x) > 1e-6 for k in (0.5, 1.0, 2.0)):
            continue
        whole_s = run[3][1] - run[0][1]
        if whole_s <= 0 or held_between(run[0], run[3], held):
            continue
        first, second, third = ((b[1] - a[1]) / whole_s for a, b in pairwise(run))
        yield (first, second, third), whole_s, run[1][0]
