"""The music around the window, and the rest of the piece, as rows of keys.

Who plays on past the end of a window, or begins before it, plays what stands there, and who has
turned to another page plays what stands on that one. It is often nearly the same as the window, and
played rightly it sounds like the window with mistakes. Which of the two it is, the written notes
tell.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import groupby
from operator import attrgetter

from coach.judging.instead.key_sequence import count_fewest_errors, order_strokes
from coach.playing.notes import PlayedNote
from coach.score.model import Hand, Hands, Score, ScoreNote
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
TELLING_KEYS = 6
"""Fewer keys than this, one off, have to be what stands right beside the window: with a slip a
window of three notes is often found somewhere around it. Own choice, because of so many keys hardly
a slip makes just what is written there."""
LEADING_KEYS = 3
"""So many keys that are written right before the window lead into it. Own choice, because no three
are so by chance."""
CHORD = 4
"""A key may be so many places later than it is written: the keys of a chord come in any order."""
MOST_NOTES = 3000
"""So many notes before the window, and as many after it, are looked through for another place. Own
choice, because that is some hundred bars each way, and takes a few milliseconds."""
HIGHEST_KEY = 127
"""MIDI knows no higher one."""


class KeyRows:
    """The keys of a piece in the order written, for each of the hands; listed once for each."""

    def __init__(self, score: Score) -> None:
        self._score = score
        self._rows: dict[Hands, tuple[list[Fraction], bytes]] = {}

    def row_between(self, start_quarters: Fraction, end_quarters: Fraction, hands: Hands) -> bytes:
        """The keys with start <= onset < end."""
        onsets, keys = self._row_of(hands)
        return keys[bisect_left(onsets, start_quarters) : bisect_left(onsets, end_quarters)]

    def row_before(self, onset_quarters: Fraction, hands: Hands) -> bytes:
        """The last ``MOST_NOTES`` keys before an onset."""
        onsets, keys = self._row_of(hands)
        end = bisect_left(onsets, onset_quarters)
        return keys[max(end - MOST_NOTES, 0) : end]

    def row_after(self, onset_quarters: Fraction, hands: Hands) -> bytes:
        """The first ``MOST_NOTES`` keys after an onset."""
        onsets, keys = self._row_of(hands)
        start = bisect_right(onsets, onset_quarters)
        return keys[start : start + MOST_NOTES]

    def _row_of(self, hands: Hands) -> tuple[list[Fraction], bytes]:
        if hands not in self._rows:
            members = hands.members
            notes = [*_list_keys(note for note in self._score.notes if note.hand in members)]
            self._rows[hands] = [onset for onset, _ in notes], bytes(key for _, key in notes)
        return self._rows[hands]


class Surroundings:
    """What is written in a window, around it, and elsewhere in the piece; picklable."""

    def __init__(self, rows: KeyRows, excerpt: Excerpt) -> None:
        hands = excerpt.window.hands
        low, high = excerpt.onsets_quarters[0], excerpt.onsets_quarters[-1]
        self.inside = list_keys(excerpt)
        self.around = rows.row_between(low - AROUND_QUARTERS, high + AROUND_QUARTERS, hands)
        self.each_hand = _list_hands(excerpt)
        """The keys of each hand that plays along with another."""
        self.before, self.after = rows.row_before(low, hands), rows.row_after(high, hands)
        self.after_in_both = rows.row_after(high, Hands.TOGETHER)
        self.both_hands = b""
        """Both hands of the same place, and around it, where one is asked for."""
        if hands is not Hands.TOGETHER:
            first = rows.row_before(low, Hands.TOGETHER)
            self.both_hands = first + rows.row_between(low, high + AROUND_QUARTERS, Hands.TOGETHER)

    def count_one_hand(self, take: Sequence[PlayedNote]) -> int:
        """How many of the first keys are exactly one hand of the window, where two are asked for
        and others come after them; 0 where they are not."""
        for row in self.each_hand:
            few = len(row) < TELLING_KEYS or len(row) >= len(take)
            if not few and bytes(order_strokes(take[: len(row)])) == row:
                return len(row)
        return 0

    def explain(self, take: Sequence[PlayedNote]) -> bool:
        """Whether keys are rather the music around the window than the window."""
        keys = order_strokes(take)
        around, inside = (
            count_fewest_errors(keys, self.around),
            count_fewest_errors(keys, self.inside),
        )
        if around == 0:
            is_told = len(keys) >= TELLING_KEYS or self._is_beside(bytes(keys))
            return inside >= (1 if is_told else CLEARLY_ERRORS)
        return around <= STRANGE_SHARE * len(keys) and around + CLEARLY_ERRORS <= inside

    def goes_on_with(self, keys: Sequence[PlayedNote]) -> bool:
        """Whether keys are among the next ones that are written after the window, in its hands or
        in both."""
        struck = {key.pitch for key in keys}
        rows = (self.after, self.after_in_both)
        return bool(keys) and any(struck <= set(row[: len(keys) + CHORD]) for row in rows)

    def leads_in(self, take: Sequence[PlayedNote]) -> bool:
        """Whether the last keys are what is written right before the window."""
        keys = bytes(order_strokes(take[-LEADING_KEYS:]))
        return len(keys) == LEADING_KEYS and self.before[-LEADING_KEYS:] == keys

    def _is_beside(self, keys: bytes) -> bool:
        """Whether keys are what is written right before the window, or after it, or across."""
        return keys in self.before[-len(keys) :] + self.inside + self.after[: len(keys)]


def list_keys(excerpt: Excerpt) -> bytes:
    """The keys of a window in the order written."""
    return bytes(key for _, key in _list_keys(excerpt.notes))


def _list_hands(excerpt: Excerpt) -> list[bytes]:
    """The keys of each hand before whose last onset the other has some, too."""
    rows = []
    for hand in Hand:
        part = [note for note in excerpt.notes if note.hand is hand]
        other = [note for note in excerpt.notes if note.hand is not hand]
        last = part[-1].onset_quarters if part else 0
        if sum(note.onset_quarters < last for note in other) >= TELLING_KEYS:
            rows.append(bytes(key for _, key in _list_keys(part)))
    return rows


def _list_keys(notes: Iterable[ScoreNote]) -> Iterator[tuple[Fraction, int]]:
    """Each key of each onset once, from low to high; the notes are in the order of their onsets.

    What no keyboard has is left out.
    """
    for onset, chord in groupby(notes, key=attrgetter("onset_quarters")):
        for key in sorted({note.pitch for note in chord}):
            if 0 <= key <= HIGHEST_KEY:
                yield onset, key
