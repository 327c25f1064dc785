"""Where a fault lies: the transition that it arrives in, and the moment a stray key belongs to."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from fractions import Fraction

from coach.judging.facts import Family, Fault
from coach.judging.timing import Timing
from coach.score.model import Hand, Hands
from coach.score.window import Excerpt

_TOGETHER_S = 0.06
"""A key brushed within this of a note went down with it: beyond 60 ms two tones have a certain
order (``checks.md`` 1.9)."""


def beats_into(excerpt: Excerpt, onset: Fraction) -> tuple[int, int]:
    """The grid beats (k-1, k] of the transition into an onset."""
    k = bisect_left(excerpt.grid_quarters, onset)
    return k - 1, k


def spanning(
    excerpt: Excerpt,
    first: Fraction,
    last: Fraction,
    hands: Hands,
    family: Family,
    weight: float,
    words: str,
    cause: str,
    *,
    note: int | None = None,
    size_ms: float | None = None,
) -> Fault:
    """A fault from the transition into one onset to the transition into another."""
    low, _ = beats_into(excerpt, first)
    _, high = beats_into(excerpt, last)
    into = excerpt.transition_to(first, hands)
    return Fault(into, first, family, weight, words, note, size_ms, low, high, cause)


def belongs_to(timing: Timing, hand: Hand | None, at_s: float) -> int | None:
    """The moment that a stray key belongs to: the one it sounded with, else the next one.

    None where nothing was struck. A hand's own moments are preferred.
    """
    own = [
        (_time_of(timing, i, hand), i)
        for i, moment in enumerate(timing.row)
        if hand is None or moment.of(hand)
    ]
    own.sort()
    if not own:
        return None if hand is None else belongs_to(timing, None, at_s)
    after = bisect_left(own, (at_s, 0))
    near = own[max(0, after - 1) : after + 1]
    closest = min(near, key=lambda pair: abs(pair[0] - at_s))
    if abs(closest[0] - at_s) <= _TOGETHER_S or after >= len(own):
        return closest[1]
    return own[after][1]


def _time_of(timing: Timing, i: int, hand: Hand | None) -> float:
    moment = timing.row[i]
    own = moment.of(hand) if hand else None
    return own.at_s if own else moment.at_s


def all_hands(excerpt: Excerpt) -> Hands:
    """The window's hands, or the only hand that has notes in it."""
    hands = {note.hand for note in excerpt.notes}
    return Hands(hands.pop()) if len(hands) == 1 else Hands.TOGETHER


def hands_of(members: Sequence[Hand]) -> Hands:
    """One hand, or both."""
    return Hands(members[0]) if len(set(members)) == 1 else Hands.TOGETHER
