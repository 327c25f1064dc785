"""Approximate string matching of keys: the edit distance to the nearest stretch of a row, by bit
vectors (Myers 1999, J. ACM 46, 395-415).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate

from coach.playing.notes import PlayedNote

STROKE_S = 0.1
"""Keys this close together may be one stroke of both hands. Own choice, because in a loose chord
they lie farther apart than in ``begin_end``, and here only their order counts."""


def order_strokes(take: Sequence[PlayedNote]) -> tuple[int, ...]:
    """The keys in order, those of one stroke from low to high."""
    return tuple(take[at].pitch for at in order_in_strokes(take))


def order_in_strokes(take: Sequence[PlayedNote]) -> list[int]:
    """The same as indices of the keys."""
    strokes: list[list[int]] = [[]]
    for at, note in enumerate(take):
        if at and note.onset_s - take[at - 1].onset_s >= STROKE_S:
            strokes.append([])
        strokes[-1].append(at)
    return [at for stroke in strokes for at in sorted(stroke, key=lambda one: take[one].pitch)]


def count_fewest_errors(keys: Sequence[int], written: Sequence[int]) -> int:
    """The fewest keys wrong, too many or left out that make these keys some stretch of a row."""
    return _scan(keys, written)[0]


def list_errors_to_end(keys: Sequence[int], written: Sequence[int]) -> list[int]:
    """For the first none, one, two ... keys the fewest errors that make them a stretch of a row
    that reaches its end.

    With the same for the last keys and a row from its beginning, two stretches that follow each
    other are told apart where their sum is least (Hirschberg 1975, Comm. ACM 18, 341-343).
    """
    _, up, down = _scan(keys, written)
    steps = ((up >> at & 1) - (down >> at & 1) for at in range(len(keys)))
    return list(accumulate(steps, initial=0))


def _scan(keys: Sequence[int], written: Sequence[int]) -> tuple[int, int, int]:
    """The fewest errors anywhere, and in which keys they grow by one, or fall, at the row's end."""
    if not keys:
        return 0, 0, 0
    bits_of: dict[int, int] = {}
    for at, key in enumerate(keys):
        bits_of[key] = bits_of.get(key, 0) | 1 << at
    every, last = (1 << len(keys)) - 1, 1 << len(keys) - 1
    up, down, errors = every, 0, len(keys)
    fewest = errors
    for pitch in written:
        match = bits_of.get(pitch, 0)
        diagonal = ((match & up) + up ^ up) | match | down
        more, fewer = down | ~(diagonal | up) & every, up & diagonal
        errors += bool(more & last) - bool(fewer & last)
        fewest = min(fewest, errors)
        more, fewer = more << 1 & every, fewer << 1 & every
        up, down = fewer | ~(diagonal | more) & every, more & diagonal
    return fewest, up, down
