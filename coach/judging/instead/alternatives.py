"""The rows of keys that may have been meant instead of the window, each with its own sentence.

The hand an octave off, the piano's transpose on, a clef forgotten, one hand where both are asked,
or the other one: each gives another row of keys than is written.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import product
from typing import NamedTuple

from coach.judging.instead.key_sequence import find_common
from coach.judging.model import Instead, PlayedInstead
from coach.judging.wording import (
    both_hands_words,
    clef_words,
    octave_words,
    one_hand_words,
    other_hand_words,
    transposed_words,
)
from coach.score.model import Hand, Hands, ScoreNote
from coach.score.pitch import STEPS, Spelling
from coach.score.window import Excerpt

# All figures here are our own choice, because nothing is published: they are set so that nothing is
# taken for one of these that was not one in the shared takes and in made windows
# (tests/test_instead.py), and no laxer than that.

OCTAVES = (-24, -12, 12, 24)
"""Half steps by which a hand may lie off by octaves."""
TRANSPOSITIONS = tuple(steps for steps in range(-11, 12) if steps)
"""Half steps by which a piano may be transposed."""
LIES_OFF = 2
"""Half steps by which a hand may lie beside its keys, which is a fault and no transposition: for
six onsets at the most in made windows."""
LIKELY_TRANSPOSED = 5
"""Half steps by which a piano is transposed for singers and players of other instruments."""
TREBLE_FOR_BASS = (12, 5, -2)
"""Staff steps from a note in the bass clef to the same line or space in the treble clef (G2 to E4),
and one and two octaves lower, where the hand lies."""
ALONE_SHARE = 0.75
"""How much of a hand's part must have been played for it to have been played alone,"""
SILENT_SHARE = 0.15
"""and the most of the other hand's notes that may be accounted for."""
NOTES_TO_A_STRANGE_KEY = 3
"""For each key that is not this hand's, at least so many notes of the other hand are silent."""
TELLING_ONSETS = 2
"""So many onsets of each hand tell anything."""
SHARPS = "FCGDAEB"
"""The letters in the order in which key signatures sharpen them."""
BEYOND_KEYS = 128
"""Farther than any two keys lie apart."""

KeyRow = tuple[tuple[int, int, Hand], ...]
"""Onset, key and hand of each note, in order."""
HandRow = list[tuple[int, int]]
"""Onset and key of each note of one hand."""


class Threshold(NamedTuple):
    """What must be seen before an alternative is believed."""

    slips: float
    """How many slips are as unlikely as this."""
    saves: int
    """How many slips it has to save at the least."""
    onsets: int
    """How many onsets have to have been moved and played,"""
    notes: int
    """and how many notes."""


ONE_OCTAVE = Threshold(1.0, 2, 2, 2)
TWO_OCTAVES = Threshold(2.0, 2, 2, 2)
"""The hands lie off by different octaves: two mistakes at once."""
TRANSPOSED = Threshold(1.6, 3, 3, 3)
TRANSPOSED_FAR = Threshold(2.2, 3, 3, 3)
MAY_LIE_OFF = Threshold(1.6, 5, 7, 7)
"""One hand alone may as well lie a step too high or too low: so it has to be surer."""
CLEF = Threshold(1.7, 3, 3, 3)
OTHER_HAND = Threshold(1.2, 2, 2, 2)


NOT_ALONE = {Hand.RIGHT: Instead.NOT_RIGHT_ALONE, Hand.LEFT: Instead.NOT_LEFT_ALONE}
"""By the hand that is asked for."""
_OTHER_HAND = {Hand.RIGHT: Hand.LEFT, Hand.LEFT: Hand.RIGHT}


@dataclass(frozen=True, slots=True)
class Alternative:
    """A way of playing what is not written."""

    instead: PlayedInstead
    notes: KeyRow
    moved: Hands
    """The hands that play something else than is written."""
    threshold: Threshold

    @property
    def is_all(self) -> bool:
        """Whether nothing is played as it is written."""
        return all(hand in self.moved for _, _, hand in self.notes)


class Alternatives:
    """What is written, as far as the playing came, and what else might have been meant."""

    def __init__(self, excerpt: Excerpt, keys: Sequence[int], onsets: int | None) -> None:
        """``onsets``: how many were played at the most; None: all may have been."""
        self.keys = keys
        self.struck = set(keys)
        self.key_fifths = excerpt.key_fifths
        last = len(excerpt.onsets_quarters) - 1
        end = excerpt.onsets_quarters[last if onsets is None else min(onsets, last)]
        every = [n for n in (*excerpt.notes, *excerpt.other_hand) if n.onset_quarters <= end]
        onsets_in_order = sorted({_order_key(note) for note in every})
        number = {onset: at for at, onset in enumerate(onsets_in_order)}
        self.notes: dict[Hand, list[tuple[int, ScoreNote]]] = {}
        for note in every:
            self.notes.setdefault(note.hand, []).append((number[_order_key(note)], note))
        self.hands = [hand for hand in Hand if hand in self.notes and hand in excerpt.hands]
        others = [hand for hand in Hand if hand in self.notes and hand not in excerpt.hands]
        self.other = others[0] if others else None
        self.written = _make_row({hand: self._move_by(hand, 0) for hand in self.hands})
        asked = sum(len(self.notes[hand]) for hand in self.hands)
        self.came = min(len(keys) / asked, 1.0)
        """How much of it may have been played at the most."""

    def list_all(self) -> Iterator[Alternative]:
        """All that may have been meant; what can't be is left out."""
        yield from self._list_octaves()
        yield from self._list_transposed()
        yield from self._list_clefs()
        yield from self._list_with_other_hand()

    def _list_octaves(self) -> Iterator[Alternative]:
        choices = [
            [steps for steps in (0, *OCTAVES) if self._is_possible(self._move_by(hand, steps))]
            for hand in self.hands
        ]
        for steps in product(*choices):
            if any(steps):
                by = dict(zip(self.hands, steps, strict=True))
                row = _make_row({hand: self._move_by(hand, by[hand]) for hand in self.hands})
                moved = _join_hands([hand for hand in self.hands if by[hand]])
                is_one = len({one for one in steps if one}) == 1
                threshold = ONE_OCTAVE if is_one else TWO_OCTAVES
                said = PlayedInstead(Instead.OCTAVE, octave_words(by))
                yield Alternative(said, row, moved, threshold)

    def _list_transposed(self) -> Iterator[Alternative]:
        for steps in TRANSPOSITIONS:
            parts = {hand: self._move_by(hand, steps) for hand in self.hands}
            if all(map(self._is_possible, parts.values())):
                threshold = TRANSPOSED if abs(steps) <= LIKELY_TRANSPOSED else TRANSPOSED_FAR
                if abs(steps) <= LIES_OFF and len(self.hands) == 1:
                    threshold = MAY_LIE_OFF
                moved, row = _join_hands(self.hands), _make_row(parts)
                said = PlayedInstead(Instead.TRANSPOSED, transposed_words(steps))
                yield Alternative(said, row, moved, threshold)

    def _list_clefs(self) -> Iterator[Alternative]:
        for hand in self.hands:
            for clef, sign in (("treble", 1), ("bass", -1)):
                for steps in TREBLE_FOR_BASS:
                    part = self._read_off(hand, sign * steps)
                    if self._is_possible(part):
                        parts = {one: self._move_by(one, 0) for one in self.hands}
                        row = _make_row(parts | {hand: part})
                        said = PlayedInstead(Instead.CLEF, clef_words(hand, clef))
                        yield Alternative(said, row, Hands(hand), CLEF)

    def _list_with_other_hand(self) -> Iterator[Alternative]:
        """One hand is asked for: the other one, or both."""
        if self.other is None:
            return
        part, moved = self._move_by(self.other, 0), Hands(self.other)
        row = _make_row({self.other: part})
        what = NOT_ALONE[_OTHER_HAND[self.other]]
        said = PlayedInstead(what, other_hand_words(self.other))
        yield Alternative(said, row, moved, OTHER_HAND)
        for asked in self.hands:
            row = _make_row({self.other: part, asked: self._move_by(asked, 0)})
            said = PlayedInstead(NOT_ALONE[asked], both_hands_words(asked))
            yield Alternative(said, row, moved, OTHER_HAND)

    def find_only_hand(self, as_written: int) -> PlayedInstead | None:
        """One hand where both are asked for."""
        if len(self.hands) == 2:
            for hand in self.hands:
                if self._is_alone(hand, as_written):
                    return PlayedInstead(Instead.ONE_HAND, one_hand_words(hand))
        return None

    def _is_alone(self, hand: Hand, as_written: int) -> bool:
        """Whether this hand played nearly all of its notes, and the other didn't even try."""
        row = _make_row({hand: self._move_by(hand, 0)})
        got = find_common([key for _, key, _ in row], self.keys)
        if not got or len(got) < ALONE_SHARE * (got[-1] + 1) or got[-1] < len(row) // 2:
            return False
        end = row[got[-1]][0]
        silent = [one for one in self.written if one[2] is not hand and one[0] <= end]
        own = {key for _, key, _ in row}
        theirs = {key for _, key, _ in silent}
        strange = [key for key in self.keys if key not in own]
        tried = sum(_distance(key, theirs) < _distance(key, own) for key in strange)
        return (
            len({onset for onset, _, _ in silent}) >= TELLING_ONSETS
            and len({row[at][0] for at in got}) >= TELLING_ONSETS
            and as_written - len(got) <= SILENT_SHARE * len(silent)
            and tried <= SILENT_SHARE * len(silent)
            and NOTES_TO_A_STRANGE_KEY * len(strange) <= len(silent)
        )

    def _move_by(self, hand: Hand, steps: int) -> HandRow:
        return [(onset, note.pitch + steps) for onset, note in self.notes[hand]]

    def _read_off(self, hand: Hand, steps: int) -> HandRow:
        """A hand's notes as they read so many staff steps off, in the key that is written."""
        fifths = self.key_fifths
        return [(on, read_off(note.spelling, steps, fifths)) for on, note in self.notes[hand]]

    def _is_possible(self, part: HandRow) -> bool:
        """Whether at least half of these keys were struck at all, as far as the playing came."""
        return 2 * sum(key in self.struck for _, key in part) >= len(part) * self.came


def _order_key(note: ScoreNote) -> tuple[Fraction, bool]:
    """A small note has an onset of its own before its main note's."""
    return note.onset_quarters, note.grace is None


def _make_row(parts: Mapping[Hand, HandRow]) -> KeyRow:
    """What is played so, in order; a key that both hands would strike at once is one."""
    row = {key: hand for hand, part in parts.items() for key in part}
    return tuple((onset, key, row[onset, key]) for onset, key in sorted(row))


def read_off(spelling: Spelling, steps: int, key_fifths: int) -> int:
    """The key for a note read so many staff steps off, in a key signature.

    An accidental stays with its sign: a sharp is read as a sharp of the other note.
    """
    octave, step = divmod(spelling.diatonic + steps, len(STEPS))
    letter = STEPS[step]
    signed = spelling.alter != _in_key(spelling.step, key_fifths)
    alter = spelling.alter if signed else _in_key(letter, key_fifths)
    return Spelling(letter, alter, octave).midi


def _in_key(letter: str, key_fifths: int) -> int:
    """What the key signature makes of a letter."""
    rank = SHARPS.index(letter)
    if key_fifths > 0:
        return int(rank < key_fifths)
    return -int(len(SHARPS) - 1 - rank < -key_fifths)


def _distance(key: int, keys: set[int]) -> int:
    return min((abs(key - one) for one in keys), default=BEYOND_KEYS)


def _join_hands(hands: Sequence[Hand]) -> Hands:
    return Hands(hands[0]) if len(hands) == 1 else Hands.TOGETHER
