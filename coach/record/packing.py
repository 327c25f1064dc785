"""A repetition's parts as few bytes: its take, its moves, and what was said of it.

Whole numbers are variable-length (seven bits a byte, the lowest first, the eighth says that more
follow), signed ones zigzag (0, -1, 1, -2, ...), and most are the step from the one before, so that
nearly all take one or two bytes. A take's times are kept to a microsecond (a note's three bytes
take 960 on a MIDI cable), errors to a tenth of a millisecond (a tenth of what the ear's figures
are told to), chances to 1/250: own choices, each far finer than what was measured.

What is read back was checked by :func:`checksum` before: damage is found there and not here. Still
each ``unpack`` raises ValueError where the bytes are none of its own.
"""

from __future__ import annotations

import json
import struct
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import lcm
from typing import Any

from coach.coaching.model import Observation
from coach.coaching.observations import FAILED
from coach.coaching.planning import Try
from coach.judging.model import Label, Outcome
from coach.playing.notes import PedalMove, PlayedNote, Take
from coach.score.model import Hand, Hands
from coach.score.window import Transition

_FORMAT = 1
"""The first byte of a take and of moves."""
_MICRO = 1_000_000
_TENTHS = 10
_CHANCES = 250
_LONGEST_SHIFT = 70
"""Bits: a number longer than this is none of ours."""

# What a code stands for is its place in the list: new ones go to the end.
_OUTCOMES = (
    Outcome.CLEAN,
    Outcome.WRONG,
    Outcome.LATE,
    Outcome.EARLY,
    Outcome.UNEVEN,
    Outcome.REPEATED,
    Outcome.NOT_REACHED,
)
_HANDS = (Hands.TOGETHER, Hands.RIGHT, Hands.LEFT)
_LABELS = (None, Label.MATCHED, Label.WRONG, Label.MISSED, Label.EXTRA, Label.REPEATED)
_PLAYERS = (None, Hand.RIGHT, Hand.LEFT)
_OUTCOME_CODES = {outcome: code for code, outcome in enumerate(_OUTCOMES)}
_HANDS_CODES = {hands: code for code, hands in enumerate(_HANDS)}
_LABEL_CODES = {label: code for code, label in enumerate(_LABELS)}
_PLAYER_CODES = {hand: code for code, hand in enumerate(_PLAYERS)}

_HAND_SHIFT, _NOTE_BIT, _ERROR_BIT = 3, 0x20, 0x40
"""A struck key's byte: its label (3 bits), its hand (2), and which numbers follow."""
_GAP_BIT, _ONSET_BIT, _MOVE_ERROR_BIT = 0x20, 0x40, 0x80
"""A move's byte: its outcome (3 bits), its hand (2), and which numbers follow."""


@dataclass(frozen=True, slots=True)
class JudgedKey:
    """What a key of a take was judged to be."""

    label: Label | None = None
    note: int | None = None
    """The window's note that it stands for."""
    hand: Hand | None = None
    error_ms: float | None = None


def checksum(values: Iterable[object]) -> int:
    """Of a row's values as they are kept: by it a damaged row is known."""
    told = 0
    for value in values:
        if isinstance(value, bytes):
            told = zlib.crc32(value, told)
        else:
            number = float(value) if isinstance(value, int | float) else value
            told = zlib.crc32(repr(number).encode("utf-8", "surrogatepass"), told)
    return told


# -- what was played ------------------------------------------------------------------------------


def pack_take(take: Take, struck: Sequence[JudgedKey]) -> bytes:
    """The keys and pedals of a take, each key with what it was judged to be."""
    first_s = take.notes[0].onset_s if take.notes else 0.0
    if not take.notes and take.pedals:
        first_s = take.pedals[0].at_s
    out = bytearray(struct.pack("<Bd", _FORMAT, first_s))
    _add(out, len(take.notes))
    at = pitch = velocity = note_before = 0
    for note, was in zip(take.notes, struck, strict=True):
        onset = round((note.onset_s - first_s) * _MICRO)
        _add_signed(out, onset - at)
        _add_signed(out, note.pitch - pitch)
        _add_signed(out, note.velocity - velocity)
        length = note.length_s
        _add(out, 0 if length is None else 1 + _zigzag(round(length * _MICRO)))
        at, pitch, velocity = onset, note.pitch, note.velocity
        out.append(
            _LABEL_CODES[was.label]
            | _PLAYER_CODES[was.hand] << _HAND_SHIFT
            | (_NOTE_BIT if was.note is not None else 0)
            | (_ERROR_BIT if was.error_ms is not None else 0)
        )
        if was.note is not None:
            _add_signed(out, was.note - note_before)
            note_before = was.note
        if was.error_ms is not None:
            _add_signed(out, round(was.error_ms * _TENTHS))
    _add(out, len(take.pedals))
    at = 0
    for move in take.pedals:
        moved = round((move.at_s - first_s) * _MICRO)
        _add_signed(out, moved - at)
        _add_signed(out, move.controller)
        _add_signed(out, move.value)
        at = moved
    return bytes(out)


def unpack_take(packed: bytes) -> tuple[Take, tuple[JudgedKey, ...]]:
    """The take, and what each of its keys was judged to be. Raises ValueError."""
    try:
        return _unpack_take(packed)
    except (IndexError, struct.error) as error:
        raise ValueError("no take") from error


def _unpack_take(packed: bytes) -> tuple[Take, tuple[JudgedKey, ...]]:
    form, first_s = struct.unpack_from("<Bd", packed)
    reader = _NumberReader(packed, 9, form)
    notes: list[PlayedNote] = []
    struck: list[JudgedKey] = []
    at = pitch = velocity = note = 0
    for _ in range(reader.count()):
        at += reader.signed()
        pitch += reader.signed()
        velocity += reader.signed()
        length = reader.number()
        flags = reader.byte()
        if flags & _NOTE_BIT:
            note += reader.signed()
        error = reader.signed() / _TENTHS if flags & _ERROR_BIT else None
        length_s = None if length == 0 else _unzigzag(length - 1) / _MICRO
        notes.append(PlayedNote(pitch, velocity, first_s + at / _MICRO, length_s))
        label, player = flags & 7, flags >> _HAND_SHIFT & 3
        meant = note if flags & _NOTE_BIT else None
        struck.append(JudgedKey(_LABELS[label], meant, _PLAYERS[player], error))
    pedals: list[PedalMove] = []
    at = 0
    for _ in range(reader.count()):
        at += reader.signed()
        pedals.append(PedalMove(reader.signed(), reader.signed(), first_s + at / _MICRO))
    reader.end()
    return Take(tuple(notes), tuple(pedals)), tuple(struck)


# -- what was observed ----------------------------------------------------------------------------


def pack_moves(observed: Sequence[Observation]) -> bytes:
    """Each move of each hand and what came of it, without what the repetition's row says."""
    places = [
        (one.transition.from_quarters, one.transition.to_quarters, one.onset_quarters)
        for one in observed
    ]
    unit = lcm(*(place.denominator for three in places for place in three))
    out = bytearray([_FORMAT])
    _add(out, unit)
    _add(out, len(observed))
    reached: dict[int, int] = {}
    for one, three in zip(observed, places, strict=True):
        start, end, onset = (place.numerator * (unit // place.denominator) for place in three)
        hand = _HANDS_CODES[one.transition.hands]
        before = reached.get(hand, 0)
        out.append(
            _OUTCOME_CODES[one.outcome]
            | hand << _HAND_SHIFT
            | (_GAP_BIT if start != before else 0)
            | (_ONSET_BIT if onset != end else 0)
            | (_MOVE_ERROR_BIT if one.error_ms is not None else 0)
        )
        if start != before:
            _add_signed(out, start - before)
        _add_signed(out, end - start)
        _add(out, round(min(max(one.hears_late, 0.0), 1.0) * _CHANCES))
        if onset != end:
            _add_signed(out, onset - end)
        if one.error_ms is not None:
            _add_signed(out, round(one.error_ms * _TENTHS))
        reached[hand] = end
    return bytes(out)


def unpack_moves(
    packed: bytes, at_s: float, hands_played: Hands, qpm: float | None
) -> tuple[Observation, ...]:
    """The observations of a repetition, in the order of the excerpt. Raises ValueError."""
    try:
        return _unpack_moves(packed, at_s, hands_played, qpm)
    except (IndexError, ZeroDivisionError) as error:
        raise ValueError("no moves") from error


def _unpack_moves(
    packed: bytes, at_s: float, hands_played: Hands, qpm: float | None
) -> tuple[Observation, ...]:
    reader = _NumberReader(packed, 1, packed[0])
    unit = reader.number()
    reached = [0, 0, 0]
    out = []
    for _ in range(reader.count()):
        flags = reader.byte()
        hand = flags >> _HAND_SHIFT & 3
        start = reached[hand] + (reader.signed() if flags & _GAP_BIT else 0)
        end = start + reader.signed()
        hears_late = reader.number() / _CHANCES
        onset = end + reader.signed() if flags & _ONSET_BIT else end
        error_ms = reader.signed() / _TENTHS if flags & _MOVE_ERROR_BIT else None
        out.append(
            Observation(
                at_s,
                _transition(hand, start, end, unit),
                _quarters(onset, unit),
                hands_played,
                _OUTCOMES[flags & 7],
                qpm,
                error_ms,
                hears_late,
            )
        )
        reached[hand] = end
    reader.end()
    return tuple(out)


def unpack_tries(packed: bytes) -> tuple[Try, ...]:
    """The same moves, those that were reached, as far as progress asks: for years of them at once.

    Raises ValueError.
    """
    try:
        return _unpack_tries(packed)
    except (IndexError, ZeroDivisionError) as error:
        raise ValueError("no moves") from error


def _unpack_tries(packed: bytes) -> tuple[Try, ...]:
    # Numbers of one byte, which nearly all are, are read here and not by a call: that is half of
    # the time for years of practice.
    reader = _NumberReader(packed, 1, packed[0])
    unit, count, at = reader.number(), reader.count(), reader.at
    reached = [0, 0, 0]
    out = []
    for _ in range(count):
        flags = packed[at]
        at += 1
        hand = flags >> _HAND_SHIFT & 3
        start = reached[hand]
        if flags & _GAP_BIT:
            number, at = (packed[at], at + 1) if packed[at] < 0x80 else _long_number(packed, at)
            start += _unzigzag(number)
        number, at = (packed[at], at + 1) if packed[at] < 0x80 else _long_number(packed, at)
        onset = end = start + (-((number + 1) >> 1) if number & 1 else number >> 1)
        _, at = (0, at + 1) if packed[at] < 0x80 else _long_number(packed, at)  # was it heard late
        if flags & _ONSET_BIT:
            number, at = (packed[at], at + 1) if packed[at] < 0x80 else _long_number(packed, at)
            onset += _unzigzag(number)
        if flags & _MOVE_ERROR_BIT:
            _, at = (0, at + 1) if packed[at] < 0x80 else _long_number(packed, at)
        if (one := _try(hand, start, end, onset, unit, flags & 7)) is not None:
            out.append(one)
        reached[hand] = end
    if at != len(packed):
        raise ValueError("less than there is")
    return tuple(out)


def _long_number(packed: bytes, at: int) -> tuple[int, int]:
    """The number there, and where the next one is."""
    reader = _NumberReader(packed, at, packed[0])
    return reader.number(), reader.at


@lru_cache(maxsize=1 << 16)
def _try(hand: int, start: int, end: int, onset: int, unit: int, outcome: int) -> Try | None:
    found = _OUTCOMES[outcome]
    if found is Outcome.NOT_REACHED:
        return None
    return Try(_transition(hand, start, end, unit), _quarters(onset, unit), found in FAILED)


# A long history names the same few places over and over.
@lru_cache(maxsize=1 << 16)
def _quarters(count: int, unit: int) -> Fraction:
    return Fraction(count, unit)


@lru_cache(maxsize=1 << 16)
def _transition(hand: int, start: int, end: int, unit: int) -> Transition:
    return Transition(_HANDS[hand], _quarters(start, unit), _quarters(end, unit))


# -- what was asked and said ----------------------------------------------------------------------

_COMMON = (
    b'"cause": "octave slip", "cause": "played again", "cause": "uneven", "cause": "hesitation", '
    b'"cause": "extra key", "cause": "missed", "family": "extra", "family": "repeat", '
    b'"family": "tempo", "family": "timing", "words": "D missed", "words": "C too many", '
    b'"words": "late to beat 2 (0.4 s)", "words": "staccato not short", "cause": "held on", '
    b'"family": "release", "family": "missing", "size_ms": -85.7, "weight": 0.25, '
    b'"forgiven": true}, {"hands": "RH", "from_quarters": "2", "to_quarters": "3", '
    b'"kind": "hands together only", "kind": "reading", "kind": "reach", "kind": "asked for", '
    b'"kind": "trial at tempo", "kind": "review", "kind": "quicken", "kind": "drill", '
    b'"stage": "notes", "stage": "pulse", "stage": "tempo", "stage": "shape", '
    b'"sentence": "RH F sharp for E at bar 2 beat 4", "Right hand alone: is it bar 8, beat 4 '
    b'\xe2\x86\x92 bar 9, beat 1? Begin at beat 3.", "Only this: is it bar 1, beat 2 '
    b'\xe2\x86\x92 3? Begin at beat 1.", "reason": "It holds. Hands together now.", '
    b'"reason": "It holds. A little more of it.", "reason": "That holds: the whole of it again.", '
    b'"kind": "widen", "kind": "join", "kind": "slower", "kind": "narrow", "clean_required": 1, '
    b'{"landing": true, "asked_qpm": 80, "stage": "rhythm", "clean_required": 3, "kind": "try", '
    b'"click": false, "reason": "Play it as you would, so that I hear where it breaks.", '
    b'"complete": true, "unsure": false, "offset_ms": 0.0, '
    b'"sentence": "LH D sharp for E at bar 1 beat 1", "sentence": "Clean", "missed": [], '
    b'"faults": [], "faults": [{"hands": "LH", "from_quarters": "1", "to_quarters": "2", '
    b'"onset_quarters": "2", "family": "pitch", "cause": "wrong key", "words": "B for C", '
    b'"weight": 0.9, "size_ms": null, "note": 1, "forgiven": false}], '
    b'"decision": {"changed": false, "clean_run": 1, "finished": false, "trouble": {"hand": "LH", '
    b'"from_quarters": "1", "to_quarters": "2", "onset_quarters": "2", "kind": "one hand", '
    b'"sure": 0.9998, "evidence": "3 of the last 7: wrong at bar 9 beat 1, LH", '
    b'"place": "LH bar 8, beat 4 \xe2\x86\x92 bar 9, beat 1"}, "trouble": null, '
    b'"assignment": {"window": {"start_quarters": "1", "end_quarters": "2", "hands": "both", '
    b'"hands": "LH", "landing": true}, "qpm": 80, "stage": "rhythm", "clean_required": 3, '
    b'"kind": "hands separate", "click": false, "reason": "Left hand alone: is it bar 4, beat 4 '
    b'\xe2\x86\x92 bar 5, beat 1? Begin at beat 3."}, "assignment": null, '
    b'"note": "There is no one place: these are ordinary slips."}}, "note": ""}}'
)
"""Deflate's dictionary: what nearly every repetition says. Never to be changed: what was packed
with it could not be read again."""


def pack_words(plain: dict[str, Any]) -> bytes:
    """JSON-ready facts, compressed."""
    packer = zlib.compressobj(9, wbits=_WINDOW_BITS, memLevel=_MEMORY_LEVEL, zdict=_COMMON)
    return packer.compress(json.dumps(plain, ensure_ascii=False).encode()) + packer.flush()


_WINDOW_BITS, _MEMORY_LEVEL = 13, 5
"""Small enough that setting up takes less than packing; the dictionary fits in the window."""
_LONGEST_WORDS_BYTES = 1 << 24
"""A repetition's facts are some hundred bytes; what unpacks to more than this is damaged."""


def unpack_words(packed: bytes) -> dict[str, Any]:
    """The facts. Raises ValueError where they can't be read."""
    unpacker = zlib.decompressobj(zdict=_COMMON)
    try:
        plain = json.loads(unpacker.decompress(packed, _LONGEST_WORDS_BYTES))
    except (zlib.error, RecursionError) as error:
        raise ValueError("no words") from error
    if not isinstance(plain, dict):
        raise ValueError("no words")
    return plain


# -- numbers --------------------------------------------------------------------------------------


def _zigzag(number: int) -> int:
    return number << 1 if number >= 0 else (-number << 1) - 1


def _unzigzag(number: int) -> int:
    return -((number + 1) >> 1) if number & 1 else number >> 1


def _add(out: bytearray, number: int) -> None:
    while number > 0x7F:
        out.append(number & 0x7F | 0x80)
        number >>= 7
    out.append(number)


def _add_signed(out: bytearray, number: int) -> None:
    _add(out, number << 1 if number >= 0 else (-number << 1) - 1)


class _NumberReader:
    """Takes numbers from bytes, one after the other. Raises IndexError past their end."""

    __slots__ = ("_at", "_packed")

    def __init__(self, packed: bytes, at: int, form: int) -> None:
        if form != _FORMAT:
            raise ValueError(f"format {form}, not {_FORMAT}")
        self._packed, self._at = packed, at

    def byte(self) -> int:
        found = self._packed[self._at]
        self._at += 1
        return found

    def number(self) -> int:
        found = self._packed[self._at]
        self._at += 1
        if found < 0x80:
            return found
        out, shift = found & 0x7F, 7
        while True:
            found = self._packed[self._at]
            self._at += 1
            out |= (found & 0x7F) << shift
            if found < 0x80:
                return out
            shift += 7
            if shift > _LONGEST_SHIFT:
                raise ValueError("a number without an end")

    def signed(self) -> int:
        return _unzigzag(self.number())

    def count(self) -> int:
        """How many follow: each takes a byte at least."""
        found = self.number()
        if found > len(self._packed):
            raise ValueError("more than there is")
        return found

    @property
    def at(self) -> int:
        """Where the next number is."""
        return self._at

    def end(self) -> None:
        """All of it has been read."""
        if self._at != len(self._packed):
            raise ValueError("less than there is")
