"""The music around the window, told from it by approximate string matching (Myers 1999).

Who plays on past the end of a window, or begins before it, plays what stands there. It is often
nearly the same as the window, and played rightly it sounds like the window with mistakes. Which of
the two it is, the written notes tell.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from functools import cached_property
from itertools import pairwise

from coach.playing.notes import PlayedNote
from coach.score.model import Score, ScoreNote
from coach.score.window import Excerpt

AROUND_QUARTERS = 32
"""How far around the window is looked: eight bars of four. Own choice, because who plays around a
window seldom plays more."""
STRANGE_SHARE = 0.3
"""No more than this share of the keys may be strange to it. Own choice, because with more nobody
can say what was played."""

CLEARLY_ERRORS = 2
"""So many errors fewer it has to leave, where it does not explain every key: hands are not so
together that the order of their keys tells anything. Own choice, because one may be
such a pair."""
STROKE_S = 0.1
"""Keys this close together may be one stroke of both hands. Own choice, because in a loose chord
they lie farther apart than in ``begin_end``, and here only their order counts."""


class Surroundings:
    """The notes before and after one window, of its hands, as keys in their order."""

    def __init__(self, score: Score, excerpt: Excerpt) -> None:
        self._score, self._excerpt = score, excerpt

    @cached_property
    def inside(self) -> tuple[int, ...]:
        """The window's keys."""
        return _list_pitches(self._excerpt.notes)

    @cached_property
    def around(self) -> tuple[int, ...]:
        """The window's keys with those before and after it."""
        onsets, hands = self._excerpt.onsets_quarters, self._excerpt.window.hands
        low, high = onsets[0] - AROUND_QUARTERS, onsets[-1] + AROUND_QUARTERS
        return _list_pitches(self._score.notes_between(low, high, hands))

    def explain(self, take: Sequence[PlayedNote]) -> bool:
        """Whether keys are rather the music around the window than the window."""
        keys = _order_keys(take)
        around, inside = (
            count_fewest_errors(keys, self.around),
            count_fewest_errors(keys, self.inside),
        )
        if around == 0:
            return inside > 0
        return around <= STRANGE_SHARE * len(keys) and around + CLEARLY_ERRORS <= inside


def _list_pitches(notes: Iterable[ScoreNote]) -> tuple[int, ...]:
    """Each key of each onset once, from low to high; the notes are in the order of their onsets."""
    out: list[int] = []
    here: set[int] = set()
    onset: Fraction | None = None
    for note in notes:
        if note.onset_quarters != onset:
            out += sorted(here)
            here, onset = set(), note.onset_quarters
        here.add(note.pitch)
    return (*out, *sorted(here))


def _order_keys(take: Sequence[PlayedNote]) -> tuple[int, ...]:
    """The keys in order, those of one stroke from low to high."""
    strokes: list[list[int]] = [[note.pitch for note in take[:1]]]
    for before, note in pairwise(take):
        if note.onset_s - before.onset_s >= STROKE_S:
            strokes.append([])
        strokes[-1].append(note.pitch)
    return tuple(pitch for stroke in strokes for pitch in sorted(stroke))


def count_fewest_errors(keys: Sequence[int], written: Sequence[int]) -> int:
    """The fewest keys wrong, too many or left out that make these keys some stretch of a row.

    The edit distance to the nearest substring, by bit vectors (Myers 1999, J. ACM 46, 395-415).
    """
    if not keys:
        return 0
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
    return fewest
