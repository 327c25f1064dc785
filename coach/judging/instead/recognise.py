"""What was played instead: something a teacher would name at once, which is no repetition.

A likelihood ratio test between rows of keys, each compared by its longest common subsequence with
the keys played.

The hand lies an octave off, the piano's transpose is on, a clef was forgotten, one hand plays where
both are asked, or the other one. Whoever plays so makes no mistakes of the notes: what has to be
said is one sentence, with the remedy. So nothing of it is evidence.

How it is recognised
--------------------
Each such way of playing gives another row of keys than is written (:class:`Alternatives`). It is
taken for the one that was meant where nearly all of it was played, and the keys agree with it so
much better than with what is written that slips would be a far less likely reason: each slip more
that the written keys would need counts as much as in alignment (some e^5 to 1), and each way has a
number of slips that it must save. Whatever agrees with what is written, even badly, stays a
repetition. While it is still played it is said once, when sure (:class:`LiveRecogniser`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import product
from typing import NamedTuple

from coach.judging.instead.key_sequence import count_onsets, find_common, order_keys
from coach.judging.model import Instead, Label, Matching, PlayedInstead
from coach.judging.wording import (
    both_hands_words,
    clef_words,
    octave_words,
    one_hand_words,
    other_hand_words,
    transposed_words,
)
from coach.playing.notes import PlayedNote
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


# Which of them it was, if any.

STRUCK_SHARE = 0.75
"""Where so much of each hand's keys was struck, there is nothing to look for."""
FITS_SHARE = 0.75
"""How much of what was meant has to have been played,"""
KEYS_SHARE = 0.5
"""how much of all that was struck it has to explain: played over again, it is half; other music
that happens to hold the notes is less,"""
HAND_SHARE = 0.6
"""and how much of each hand's part."""
FITS_SHARE_SO_FAR = 0.8
"""The same while it is still going on."""
MOVED_SHARE = 0.65
"""How much of what was moved was played so, on the mean of all of it and of what is not explained
by what is written: some wrong keys are let pass, but hardly any that are right where they stand."""
SAVED_SHARE = 0.4
"""How many of the moved notes must not be explained by what is written, as a share."""
LEAST_ONSETS_SO_FAR = 5
"""Keys or chords one after the other from which it can be told while it is still going on:
a slip of the hand by an octave holds for four at the most in made windows."""
MANY_KEYS, MANY_KEYS_ONSETS = 8, 3
"""Of both hands so many keys in so many onsets are enough."""
BEGINNING_KEYS = 24
"""In a take more than twice as long so many keys tell first whether it may be; half of them have to
fit."""
SHORT_NOTES = 100
"""With no more notes and keys than this all of them are compared, whoever waits: some five
milliseconds;"""
LIVE_KEYS = 48
"""with more the beginning alone, while a key is waited for. Own choice, because a look at as many
takes some five milliseconds, and who plays a clef, an octave or a transposition begins with it."""
LEAST_ONSETS = 2
"""Keys or chords of which anything can be told once all is played."""
SILENT_ONSETS = 3
"""So many onsets of a hand, each between two of the other's, are none that it only missed. Own
choice, because one or two may be."""
OTHERS_SHARE = 0.5
"""So many keys too many, as a share of the other hand's notes, may be that hand."""


def recognise_live(excerpt: Excerpt, played: Sequence[PlayedNote]) -> PlayedInstead | None:
    """The same as ``recognise_other`` while a key or a tick is waited for.

    Of a long take, or in a long window, from the beginning alone: the work is bounded.
    """
    if len(excerpt.notes) + len(excerpt.other_hand) <= SHORT_NOTES and len(played) <= SHORT_NOTES:
        return recognise_other(excerpt, played)
    beginning = played[:LIVE_KEYS]
    return recognise_other(excerpt, beginning, most_onsets=2 * count_onsets(beginning))


def recognise_hand_alone(excerpt: Excerpt, matching: Matching) -> PlayedInstead | None:
    """One hand alone, all of it right, from wherever it came in; the other did not even try."""
    rows = [*zip(excerpt.notes, excerpt.onset_numbers, matching.score, strict=True)]
    struck = [(note.hand, number) for note, number, one in rows if one.played is not None]
    hands, numbers = {hand for hand, _ in struck}, {number for _, number in struck}
    is_right = all(one.label in (Label.MATCHED, Label.REPEATED) for one in matching.played)
    if len(hands) != 1 or not is_right or len(numbers) < SILENT_ONSETS:
        return None
    silent = {
        number
        for note, number, _ in rows
        if note.hand not in hands and min(numbers) < number < max(numbers)
    }
    if len(silent) < SILENT_ONSETS:
        return None
    return PlayedInstead(Instead.ONE_HAND, one_hand_words(hands.pop()))


def recognise_other(
    excerpt: Excerpt,
    played: Sequence[PlayedNote],
    *,
    so_far: bool = False,
    most_onsets: int | None = None,
) -> PlayedInstead | None:
    """What was played instead of the window; None where it was the window.

    ``so_far``: the playing still goes on, and it has to be surer. ``most_onsets``: no more of the
    window's onsets are compared. Played notes are in the order of their onsets. What fits nothing
    at all is None too.
    """
    if not _needs_a_look(excerpt, played):
        return None
    count = count_onsets(played)
    if count < (MANY_KEYS_ONSETS if so_far else LEAST_ONSETS):
        return None
    keys = order_keys(played)
    alternatives = Alternatives(excerpt, keys, count if so_far else most_onsets)
    as_written = len(find_common([key for _, key, _ in alternatives.written], keys))
    likely = 0.0
    found: Alternative | None = None
    for one in alternatives.list_all():
        this = _fit_of(one, keys, as_written, so_far=so_far)
        if this is not None and this > likely:
            likely, found = this, one
    if so_far:  # with a hand that plays what is asked for it may go on as a repetition
        return found.instead if found and found.is_all else None
    return found.instead if found else alternatives.find_only_hand(as_written)


def _needs_a_look(excerpt: Excerpt, played: Sequence[PlayedNote]) -> bool:
    """Whether it is worth a closer look: a hand's keys are wanting, or there are many too many."""
    if len(played) > 2 * BEGINNING_KEYS and _lacks_keys(
        excerpt.notes[:BEGINNING_KEYS], played[:BEGINNING_KEYS]
    ):
        return True
    if _lacks_keys(excerpt.notes, played):
        return True
    others = len(excerpt.other_hand)
    return others > 0 and len(played) - len(excerpt.notes) >= OTHERS_SHARE * others


def _lacks_keys(notes: Sequence[ScoreNote], played: Sequence[PlayedNote]) -> bool:
    """Whether many keys of a hand were never struck."""
    struck = {note.pitch for note in played}
    hits = [0, 0]
    counts = [0, 0]
    for note in notes:
        hand = note.hand is Hand.LEFT
        counts[hand] += 1
        hits[hand] += note.pitch in struck
    return hits[0] < STRUCK_SHARE * counts[0] or hits[1] < STRUCK_SHARE * counts[1]


def _may_begin(row: Sequence[int], keys: Sequence[int]) -> bool:
    """Whether a long take may be this: most things are told by its beginning."""
    return 2 * len(find_common(row[: 2 * BEGINNING_KEYS], keys[:BEGINNING_KEYS])) >= BEGINNING_KEYS


def _fit_of(
    way: Alternative, keys: Sequence[int], as_written: int, *, so_far: bool
) -> float | None:
    """How well the keys agree with it, in notes; None where they don't, or as well with others."""
    row = [key for _, key, _ in way.notes]
    if len(keys) > 2 * BEGINNING_KEYS and not _may_begin(row, keys):
        return None
    got = find_common(row, keys)
    fits = FITS_SHARE_SO_FAR if so_far else FITS_SHARE
    if len(got) < max(fits * min(len(keys), len(way.notes)), KEYS_SHARE * len(keys)):
        return None
    if so_far and (way.notes[got[0]][0] > 0 or len(got) < fits * len(keys)):
        return None
    reached = way.notes[got[0] : got[-1] + 1]
    played = [way.notes[at] for at in got]
    for hand in Hand:
        wanted = sum(one[2] is hand for one in reached)
        if sum(one[2] is hand for one in played) < (fits if so_far else HAND_SHARE) * wanted:
            return None
    moved = [one for one in played if one[2] in way.moved]
    onsets = len({onset for onset, _, _ in moved})
    if onsets < way.threshold.onsets or len(moved) < way.threshold.notes:
        return None
    many = way.moved is Hands.TOGETHER and len(moved) >= MANY_KEYS
    if so_far and onsets < (MANY_KEYS_ONSETS if many else LEAST_ONSETS_SO_FAR):
        return None
    saved = len(got) - as_written
    if saved < max(way.threshold.saves + so_far, SAVED_SHARE * len(moved)):
        return None
    wanted = sum(one[2] in way.moved for one in reached)
    if len(moved) + saved < 2 * MOVED_SHARE * wanted:
        return None  # a part of it was played as it is written
    return len(got) - way.threshold.slips


# The same while it is played.

REST_S = 1.0
"""After such a silence it is told from all keys so far, and after the next one it may be again. Own
choice, because few notes of a window in practice are longer."""
FORGET_S = 6.0
"""After such a silence the next key has nothing to do with those before. Own choice: a slow player
needs some four seconds for a long note."""
MOST_KEYS = 24
"""What was not known by then is not looked at again before a rest. Own choice, because each look
takes time while a key is waited for."""
LEAST_AT_REST = 3
"""Keys or chords that tell something, where the window has so many. Own choice, because two may be
any two."""


class LiveRecogniser:
    """The keys since the last repetition, or since a silence."""

    def __init__(self, excerpt: Excerpt, rest_s: float = REST_S) -> None:
        """``rest_s``: after such a silence the window may be begun; none written is as long."""
        self._excerpt = excerpt
        self._rest_s = rest_s
        self._least = min(LEAST_AT_REST, len(excerpt.onsets_quarters))
        self._goes_past = False
        """Whether the keys go on from the window's end: they are what comes after it."""
        self.forget()

    def note_end(self) -> None:
        """The window was played to its end: what comes without a rest is not meant for it."""
        self.forget()
        self._goes_past = True

    def note_rest(self) -> None:
        """The hands have rested."""
        if self._goes_past:
            self.forget()
        self._goes_past = False

    def forget(self) -> None:
        """A repetition begins."""
        self._keys: list[PlayedNote] = []
        """The first of them; of more than are ever compared the rest is not kept."""
        self._last_s = 0.0
        """When the last one was struck."""
        self._is_said = self._was_asked = False

    def adopt(self, keys: Sequence[PlayedNote], *, is_said: bool) -> None:
        """What seemed to be a repetition was none; perhaps it ``is_said`` already what it was."""
        self._keys = list(keys[: SHORT_NOTES + 1])
        self._last_s = keys[-1].onset_s if keys else 0.0
        self._is_said, self._was_asked = is_said, False

    def goes_on(self) -> bool:
        """Whether what was said still holds: a few right keys in it begin nothing."""
        return self._is_said and recognise_live(self._excerpt, self._keys) is not None

    def add_key(self, note: PlayedNote) -> None:
        """A key that may begin nothing."""
        quiet_s = note.onset_s - self._last_s if self._keys else 0.0
        if quiet_s >= FORGET_S or (self._is_said and quiet_s >= self._rest_s):
            self.forget()
        if len(self._keys) <= SHORT_NOTES:
            self._keys.append(note)
        self._last_s = note.onset_s
        self._was_asked = False

    def recognise_after_key(self) -> PlayedInstead | None:
        """What is being played instead of the window, once it is sure."""
        return self._recognise(so_far=True)

    def recognise_strange(self) -> PlayedInstead | None:
        """The same where the keys fit nothing: one hand may be right, and the other is not."""
        return self._recognise(so_far=False)

    def recognise_at_rest(self, now_s: float) -> PlayedInstead | None:
        """The same where the playing has stopped."""
        if self._was_asked or not self._keys or now_s - self._last_s < REST_S:
            return None
        self._was_asked = True
        return self._recognise(so_far=False) if count_onsets(self._keys) >= self._least else None

    def _recognise(self, *, so_far: bool) -> PlayedInstead | None:
        if self._is_said or self._goes_past or (so_far and len(self._keys) > MOST_KEYS):
            return None
        if so_far:
            said = recognise_other(self._excerpt, self._keys, so_far=True)
        else:
            said = recognise_live(self._excerpt, self._keys)
        self._is_said = said is not None
        return said
