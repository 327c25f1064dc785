"""Which hand plays a note where nothing but keys and times is known: a guess.

A search over the positions of two hands: of the keys struck together the left hand takes the
lower ones; each way to divide them costs by how far a hand must stretch over what it strikes and
still holds, how far it must move, how far it lies beyond the middle of what sounds around it, and
whether the hands cross. The best few divisions are carried from onset to onset.

Measured by ``scripts/bench_hands.py`` against the staves of piano scores; no rule is safe, so
every note that is given a hand here is marked as a guess.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from coach.score.model import Hand

_BEAM = 24
_MIDDLE = 60
_AROUND = 8
"""Onsets to either side that say where the music lies now."""
_EASY_SPAN, _LARGEST_SPAN = 12, 16
"""Semitones: an octave lies in every hand, a tenth in few (common practice)."""
_STRETCH, _TOO_FAR = 1.0, 8.0
_MOVE = 0.3
_BEYOND = 0.5
_CROSSED = 6.0

Sounding = tuple[int, int, int]
"""Start, end and key of a note; times in any unit."""


@dataclass(frozen=True, slots=True)
class _Side:
    """Where one hand is."""

    centre: float
    held: tuple[tuple[int, int], ...] = ()
    """(end, key) of what it struck."""


@dataclass(frozen=True, slots=True)
class _State:
    cost: float
    left: _Side
    right: _Side
    split: int = 0
    """How many of the onset's keys, from below, the left hand struck."""
    before: _State | None = None


def split_hands(notes: Sequence[Sounding]) -> list[Hand]:
    """A hand for each note; notes come by start."""
    order = sorted(range(len(notes)), key=lambda i: (notes[i][0], notes[i][2]))
    onsets = [list(group) for _, group in groupby(order, key=lambda i: notes[i][0])]
    middles = _middles([[notes[i][2] for i in onset] for onset in onsets])
    states = [_State(0.0, _Side(_MIDDLE - 12), _Side(_MIDDLE + 12))]
    for onset, middle in zip(onsets, middles, strict=True):
        struck = [notes[i] for i in onset]
        ways = range(len(struck) + 1)
        states = _best([_next(state, struck, k, middle) for state in states for k in ways])
    hands = [Hand.RIGHT] * len(notes)
    state: _State | None = min(states, key=lambda s: s.cost)
    for onset in reversed(onsets):
        assert state is not None
        for i in onset[: state.split]:
            hands[i] = Hand.LEFT
        state = state.before
    return hands


def _middles(onsets: Sequence[Sequence[int]]) -> list[float]:
    """For each onset the key between the hands: halfway between what is high and low around it."""
    lows = [min(keys) for keys in onsets]
    highs = [max(keys) for keys in onsets]
    middles = []
    for i in range(len(onsets)):
        around = slice(max(i - _AROUND, 0), i + _AROUND + 1)
        middles.append((min(lows[around]) + max(highs[around])) / 2)
    return middles


def _best(states: list[_State]) -> list[_State]:
    """The cheapest states, one for each pair of hand positions."""
    best: dict[tuple[float, float], _State] = {}
    for state in sorted(states, key=lambda s: s.cost):
        best.setdefault((state.left.centre, state.right.centre), state)
        if len(best) == _BEAM:
            break
    return list(best.values())


def _next(state: _State, struck: Sequence[Sounding], split: int, middle: float) -> _State:
    left, left_cost = _strike(state.left, struck[:split], Hand.LEFT, middle)
    right, right_cost = _strike(state.right, struck[split:], Hand.RIGHT, middle)
    crossed = _CROSSED if left.centre > right.centre else 0.0
    return _State(state.cost + left_cost + right_cost + crossed, left, right, split, state)


def _strike(
    side: _Side, notes: Sequence[Sounding], hand: Hand, middle: float
) -> tuple[_Side, float]:
    """Where a hand is after striking these, and what that costs."""
    if not notes:
        return side, 0.0
    now = notes[0][0]
    held = tuple(pair for pair in side.held if pair[0] > now)
    keys = [key for _, _, key in notes]
    under = keys + [key for _, key in held]
    centre = (min(under) + max(under)) / 2
    span = max(under) - min(under)
    cost = _STRETCH * max(0, span - _EASY_SPAN) + _TOO_FAR * max(0, span - _LARGEST_SPAN)
    cost += _MOVE * abs(centre - side.centre) ** 0.5
    sign = 1 if hand is Hand.LEFT else -1
    cost += _BEYOND * sum(max(0, sign * (key - middle)) for key in keys)
    return _Side(centre, held + tuple((end, key) for _, end, key in notes)), cost
