"""Where a fault lies: the transition that it arrives in, and the moment a stray key belongs to."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from fractions import Fraction

from coach.judging.model import Family, Fault
from coach.judging.timing import Timing
from coach.score.model import Hand, Hands
from coach.score.window import Excerpt

_TOGETHER_S = 0.06
"""A key brushed within this of a note went down with it: beyond 60 ms the order of two tones is
near-certain (informal listening tests; Hirsh 1959 has 20 ms at threshold, from memory)."""
_ELSEWHERE = 2
"""Semitones that a note just before or after counts as further away than one at the moment."""


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
    own = timing.times[hand] or timing.times[None]
    if not own:
        return None
    after = bisect_left(own, (at_s, 0))
    near = own[max(0, after - 1) : after + 1]
    closest = min(near, key=lambda pair: abs(pair[0] - at_s))
    if abs(closest[0] - at_s) <= _TOGETHER_S or after >= len(own):
        return closest[1]
    return own[after][1]


def likely_hand(excerpt: Excerpt, timing: Timing, pitch: int, at_s: float) -> Hand | None:
    """Whose stray key it was, by the nearest written notes around it; None where nothing is."""
    moment = belongs_to(timing, None, at_s)
    if moment is None:
        return None
    reach = range(max(0, moment - 1), min(len(timing.row), moment + 2))
    near = [
        (abs(excerpt.notes[note].pitch - pitch) + _ELSEWHERE * (i != moment), hand.hand)
        for i in reach
        for hand in timing.row[i].hands
        for note in hand.notes
    ]
    return min(near, key=lambda pair: pair[0])[1]


def hands_of(members: Sequence[Hand]) -> Hands:
    """One hand, or both."""
    return Hands(members[0]) if len(set(members)) == 1 else Hands.TOGETHER
