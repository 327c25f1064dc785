"""Proportions: a dotted figure played even, in so few notes that no pattern can be told.

Whether it is the player's rule is asked, not whether one figure came out so: the middle of all
such figures of the hand counts.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from statistics import median

from coach.judging.timing.evenness import Point, Points, held_between
from coach.judging.tolerance import Tolerance
from coach.judging.wording import DOTTED_EVEN, LONG_SHORT_EVEN
from coach.score.model import Hand

_PLAYED_EVEN = ((3.0, 1.5, 1, DOTTED_EVEN), (2.0, 1.2, 2, LONG_SHORT_EVEN))
"""Long against short as written; the ratio below which it counts as played even; from how many;
and what is said then. Between even and dotted the middle by ratio is 1.7, and softened dots are
common practice, so 1.5; a lilting 2:1 is softened to 1.5 and less by good players, so 1.2, and not
once only."""


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure that was played in other proportions than written."""

    hand: Hand
    moment: int
    """Moment of the displaced note."""
    words: str
    error_s: float
    """How far it was displaced, negative when early."""


def find_figures(hands: Points, held: frozenset[int], tolerance: Tolerance) -> tuple[Figure, ...]:
    """Figures in wrong proportions, at most one of a kind for each hand: the worst."""
    found = []
    for hand in Hand:
        points = hands[hand]
        for written, even, least, words in _PLAYED_EVEN:
            cases = list(_long_short(points, held, written))
            worst = None
            if len(cases) >= least:
                worst = _played_even(cases, hand, even, words, tolerance)
            found += [worst] if worst else []
    return tuple(found)


def _played_even(
    cases: Sequence[tuple[float, float, int]],
    hand: Hand,
    even: float,
    words: str,
    tolerance: Tolerance,
) -> Figure | None:
    if median(ratio for ratio, _, _ in cases) >= even:
        return None
    ratio, error_s, moment = min(cases, key=lambda case: round(case[0], 3))
    if ratio >= even or -error_s * 1000 <= tolerance.late_floor_ms:
        return None
    return Figure(hand, moment, words, error_s)


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
