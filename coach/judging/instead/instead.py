"""What was played instead: something a teacher would name at once, which is no repetition.

The hand lies an octave off, the piano's transpose is on, a clef was forgotten, one hand plays where
both are asked, or the other one. Whoever plays so makes no mistakes of the notes: what has to be
said is one sentence, with the remedy. So nothing of it is evidence.

How it is told
--------------
Each such way of playing gives another row of keys than is written. It is taken for the one that was
meant where nearly all of it was played, and the keys agree with it so much better than with what
is written that slips would be a far less likely reason: each slip more that the written keys would
need counts as much as in matching (some e^5 to 1), and each way has a number of slips that it must
save. Whatever agrees with what is written, even badly, stays a repetition.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import product

from coach.judging.agreement import agreed, in_order, onset_count
from coach.judging.instead.wording import (
    both_hands_words,
    clef_words,
    octave_words,
    one_hand_words,
    other_hand_words,
    transposed_words,
)
from coach.judging.model import Label, Matching
from coach.playing.notes import PlayedNote
from coach.score.model import Hand, Hands, ScoreNote
from coach.score.pitch import STEPS, Spelling
from coach.score.window import Excerpt

# All figures here are our own choice: set so that nothing is taken for one of these that was not
# one in the shared takes and in made windows (tests/test_instead.py), and no laxer than that.

HITS = 0.75
"""Where so much of each hand's keys was struck, there is nothing to look for."""
FITS = 0.75
"""How much of what was meant has to have been played,"""
OF_A_HAND = 0.6
"""and how much of each hand's part."""
FITS_SO_FAR = 0.8
"""The same while it is still going on."""
ALL_OF_IT = 0.65
"""How much of what was moved was played so, on the mean of all of it and of what is not explained
by what is written: some wrong keys are let pass, but hardly any that are right where they stand."""
SAVED = 0.4
"""How many of the moved notes must not be explained by what is written, as a share."""
LEAST_SO_FAR = 5
"""Keys or chords one after the other from which it can be told while it is still going on:
a slip of the hand by an octave holds for four at the most in made windows."""
MANY_KEYS, MANY_KEYS_IN = 8, 3
"""Of both hands so many keys in so many onsets are enough."""
BEGINNING = 24
"""In a longer take so many keys tell first whether it may be; half of them have to fit."""
SILENT = 0.15
"""The most of a hand's notes that may be accounted for where it is said that it did not play."""
ELSEWHERE_KEYS = 8
"""After so many keys"""
ELSEWHERE_SHARE = 5 / 6
"""of which so many belong nowhere, it is something else altogether."""
OCTAVES = (-24, -12, 12, 24)
TRANSPOSED = tuple(steps for steps in range(-11, 12) if steps)
LIES_OFF = 2
"""Half steps by which a hand may lie beside its place, which is a fault and no transposition: for
six onsets at the most in made windows."""
LIKELY_TRANSPOSED = 5
"""Half steps by which a piano is transposed for singers and players of other instruments."""
TREBLE_FOR_BASS = (12, 5, -2)
"""Staff steps from a note in the bass clef to the same line or space in the treble clef (G2 to E4),
and one and two octaves lower, where the hand lies."""

Row = tuple[tuple[int, int, Hand], ...]
"""Onset, key and hand of each note, in order."""
Part = list[tuple[int, int]]
"""Onset and key of each note of one hand."""


@dataclass(frozen=True, slots=True)
class _Way:
    """A way of playing what is not written."""

    sentence: str
    notes: Row
    moved: Hands
    """The hands that play something else than is written."""
    slips: float
    """How many slips are as unlikely as this."""
    saves: int
    """How many slips it has to save at the least."""
    onsets: int
    """How many onsets have to have been moved and played,"""
    least: int
    """and how many notes."""

    @property
    def is_all(self) -> bool:
        """Whether nothing is played as it is written."""
        return all(hand in self.moved for _, _, hand in self.notes)


def played_instead(
    excerpt: Excerpt, played: Sequence[PlayedNote], *, so_far: bool = False
) -> str | None:
    """The sentence that says what was played instead of the window; None where it was the window.

    ``so_far``: the playing still goes on, and it has to be surer. Played notes are in the order of
    their onsets. What fits nothing at all is None too.
    """
    if not _is_strange(excerpt, played):
        return None
    count = onset_count(played)
    if count < (MANY_KEYS_IN if so_far else 2):
        return None
    keys = in_order(played)
    desk = _Desk(excerpt, keys, count if so_far else None)
    as_written = len(agreed([key for _, key, _ in desk.written], keys))
    likely = 0.0
    found: _Way | None = None
    for way in desk.ways():
        this = _likelihood(way, keys, as_written, so_far=so_far)
        if this is not None and this > likely:
            likely, found = this, way
    if so_far:  # with a hand that plays what is asked for it may go on as a repetition
        return found.sentence if found and found.is_all else None
    return found.sentence if found else desk.only_hand(as_written)


def is_elsewhere(excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching) -> bool:
    """Whether nearly all keys belong nowhere: neither right nor likely slips, and so many of them
    that it is another piece."""
    if len(played) < ELSEWHERE_KEYS:
        return False
    strange = sum(
        label.label is Label.EXTRA
        or (
            label.label is Label.WRONG
            and label.note is not None
            and is_wild(played[label.played].pitch - excerpt.notes[label.note].pitch)
        )
        for label in matching.played
    )
    return strange >= ELSEWHERE_SHARE * len(played)


def is_wild(semitones: int) -> bool:
    """Whether a wrong key is too far off to be a slip: beyond a fourth, and no octave."""
    return abs(semitones) > 5 and abs(semitones) != 12


def _is_strange(excerpt: Excerpt, played: Sequence[PlayedNote]) -> bool:
    """Whether it is worth a closer look: a hand's keys are wanting, or there are many too many."""
    if len(played) > 2 * BEGINNING and _is_strange_in(
        excerpt.notes[:BEGINNING], played[:BEGINNING]
    ):
        return True
    if _is_strange_in(excerpt.notes, played):
        return True
    others = len(excerpt.other_hand)
    return others > 0 and len(played) - len(excerpt.notes) >= 0.5 * others


def _is_strange_in(notes: Sequence[ScoreNote], played: Sequence[PlayedNote]) -> bool:
    """Whether many keys of a hand were never struck."""
    struck = {note.pitch for note in played}
    hits = [0, 0]
    counts = [0, 0]
    for note in notes:
        hand = note.hand is Hand.LEFT
        counts[hand] += 1
        hits[hand] += note.pitch in struck
    return hits[0] < HITS * counts[0] or hits[1] < HITS * counts[1]


def _may_begin(row: Sequence[int], keys: Sequence[int]) -> bool:
    """Whether a long take may be this: most things are told by its beginning."""
    return 2 * len(agreed(row[: 2 * BEGINNING], keys[:BEGINNING])) >= BEGINNING


def _likelihood(way: _Way, keys: Sequence[int], as_written: int, *, so_far: bool) -> float | None:
    """How well the keys agree with it, in notes; None where they don't, or as well with others."""
    row = [key for _, key, _ in way.notes]
    if len(keys) > 2 * BEGINNING and not _may_begin(row, keys):
        return None
    got = agreed(row, keys)
    fits = FITS_SO_FAR if so_far else FITS
    if len(got) < fits * min(len(keys), len(way.notes)):
        return None
    if so_far and (way.notes[got[0]][0] > 0 or len(got) < fits * len(keys)):
        return None
    reached = way.notes[: got[-1] + 1]
    played = [way.notes[at] for at in got]
    for hand in Hand:
        wanted = sum(one[2] is hand for one in reached)
        if sum(one[2] is hand for one in played) < (fits if so_far else OF_A_HAND) * wanted:
            return None
    moved = [one for one in played if one[2] in way.moved]
    onsets = len({onset for onset, _, _ in moved})
    if onsets < way.onsets or len(moved) < way.least:
        return None
    many = way.moved is Hands.TOGETHER and len(moved) >= MANY_KEYS
    if so_far and onsets < (MANY_KEYS_IN if many else LEAST_SO_FAR):
        return None
    saved = len(got) - as_written
    if saved < max(way.saves + so_far, SAVED * len(moved)):
        return None
    wanted = sum(one[2] in way.moved for one in reached)
    if len(moved) + saved < 2 * ALL_OF_IT * wanted:
        return None  # a part of it was played as it is written
    return len(got) - way.slips


class _Desk:
    """What is written, as far as the playing came, and what else might have been meant."""

    def __init__(self, excerpt: Excerpt, keys: Sequence[int], onsets: int | None) -> None:
        """``onsets``: how many were played at the most; None: all may have been."""
        self.keys = keys
        self.struck = set(keys)
        self.key_fifths = excerpt.key_fifths
        last = len(excerpt.onsets_quarters) - 1
        end = excerpt.onsets_quarters[last if onsets is None else min(onsets, last)]
        every = [n for n in (*excerpt.notes, *excerpt.other_hand) if n.onset_quarters <= end]
        places = sorted({_place(note) for note in every})
        number = {place: at for at, place in enumerate(places)}
        self.notes: dict[Hand, list[tuple[int, ScoreNote]]] = {}
        for note in every:
            self.notes.setdefault(note.hand, []).append((number[_place(note)], note))
        self.hands = [hand for hand in Hand if hand in self.notes and hand in excerpt.hands]
        others = [hand for hand in Hand if hand in self.notes and hand not in excerpt.hands]
        self.other = others[0] if others else None
        self.written = _row({hand: self._of(hand, 0) for hand in self.hands})
        asked = sum(len(self.notes[hand]) for hand in self.hands)
        self.came = min(len(keys) / asked, 1.0)
        """How much of it may have been played at the most."""

    def ways(self) -> Iterator[_Way]:
        """All that may have been meant; what can't be is left out."""
        yield from self._octaves()
        yield from self._transposed()
        yield from self._clefs()
        yield from self._with_the_other()

    def _octaves(self) -> Iterator[_Way]:
        choices = [
            [steps for steps in (0, *OCTAVES) if self._may_be(self._of(hand, steps))]
            for hand in self.hands
        ]
        for steps in product(*choices):
            if any(steps):
                by = dict(zip(self.hands, steps, strict=True))
                row = _row({hand: self._of(hand, by[hand]) for hand in self.hands})
                moved = _hands([hand for hand in self.hands if by[hand]])
                slips = 1.0 if len({one for one in steps if one}) == 1 else 2.0
                yield _Way(octave_words(by), row, moved, slips, 2, 2, 2)

    def _transposed(self) -> Iterator[_Way]:
        for steps in TRANSPOSED:
            parts = {hand: self._of(hand, steps) for hand in self.hands}
            if all(map(self._may_be, parts.values())):
                # one hand alone may as well lie a step too high or too low
                may_lie = abs(steps) <= LIES_OFF and len(self.hands) == 1
                saves, onsets, least = (5, 7, 7) if may_lie else (3, 3, 3)
                slips = 1.6 if abs(steps) <= LIKELY_TRANSPOSED else 2.2
                moved = _hands(self.hands)
                yield _Way(transposed_words(steps), _row(parts), moved, slips, saves, onsets, least)

    def _clefs(self) -> Iterator[_Way]:
        for hand in self.hands:
            for clef, sign in (("treble", 1), ("bass", -1)):
                for steps in TREBLE_FOR_BASS:
                    part = self._read(hand, sign * steps)
                    if self._may_be(part):
                        parts = {one: self._of(one, 0) for one in self.hands}
                        row = _row(parts | {hand: part})
                        yield _Way(clef_words(hand, clef), row, Hands(hand), 1.7, 3, 3, 3)

    def _with_the_other(self) -> Iterator[_Way]:
        """One hand is asked for: the other one, or both."""
        if self.other is None:
            return
        part, moved = self._of(self.other, 0), Hands(self.other)
        row = _row({self.other: part})
        yield _Way(other_hand_words(self.other), row, moved, 1.2, 2, 2, 2)
        for asked in self.hands:
            row = _row({self.other: part, asked: self._of(asked, 0)})
            yield _Way(both_hands_words(asked), row, moved, 1.2, 2, 2, 2)

    def only_hand(self, as_written: int) -> str | None:
        """One hand where both are asked for."""
        if len(self.hands) == 2:
            for hand in self.hands:
                if self._is_alone(hand, as_written):
                    return one_hand_words(hand)
        return None

    def _is_alone(self, hand: Hand, as_written: int) -> bool:
        """Whether this hand played nearly all of its notes, and the other didn't even try."""
        row = _row({hand: self._of(hand, 0)})
        got = agreed([key for _, key, _ in row], self.keys)
        if not got or len(got) < FITS * (got[-1] + 1) or got[-1] < len(row) // 2:
            return False
        end = row[got[-1]][0]
        silent = [one for one in self.written if one[2] is not hand and one[0] <= end]
        own = {key for _, key, _ in row}
        theirs = {key for _, key, _ in silent}
        strange = [key for key in self.keys if key not in own]
        tried = sum(_nearest(key, theirs) < _nearest(key, own) for key in strange)
        return (
            len({onset for onset, _, _ in silent}) >= 2
            and len({row[at][0] for at in got}) >= 2
            and as_written - len(got) <= SILENT * len(silent)
            and tried <= SILENT * len(silent)
            and 3 * len(strange) <= len(silent)
        )

    def _of(self, hand: Hand, steps: int) -> Part:
        return [(onset, note.pitch + steps) for onset, note in self.notes[hand]]

    def _read(self, hand: Hand, steps: int) -> Part:
        """A hand's notes as they read so many staff steps off, in the key that is written."""
        fifths = self.key_fifths
        return [(on, read_off(note.spelling, steps, fifths)) for on, note in self.notes[hand]]

    def _may_be(self, part: Part) -> bool:
        """Whether at least half of these keys were struck at all, as far as the playing came."""
        return 2 * sum(key in self.struck for _, key in part) >= len(part) * self.came


def _place(note: ScoreNote) -> tuple[Fraction, bool]:
    """A small note has an onset of its own before its main note's."""
    return note.onset_quarters, note.grace is None


def _row(parts: Mapping[Hand, Part]) -> Row:
    """What is played so, in order; a key that both hands would strike at once is one."""
    row = {place: hand for hand, part in parts.items() for place in part}
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
    place = "FCGDAEB".index(letter)
    if key_fifths > 0:
        return int(place < key_fifths)
    return -int(6 - place < -key_fifths)


def _nearest(key: int, keys: set[int]) -> int:
    return min((abs(key - one) for one in keys), default=128)


def _hands(hands: Sequence[Hand]) -> Hands:
    return Hands(hands[0]) if len(hands) == 1 else Hands.TOGETHER
