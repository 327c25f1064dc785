"""Standard MIDI files as scores. The door to mido for scores."""

from __future__ import annotations

import io
import re
from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from typing import Any

from coach.score.formats import ScoreError
from coach.score.metre import COMMON_TIME, Metre
from coach.score.model import Bar, Clef, Hand, Remark, Score, ScoreNote, TempoMark
from coach.score.pitch import MIDDLE_C, Spelling
from coach.score.reading.files import Source
from coach.score.reading.hands import split_hands
from coach.score.reading.musicxml import OTHER_PLAYERS, sensible
from coach.score.reading.safe import clean
from coach.score.words import count_of

# Standard MIDI files as they are: ticks, tracks and channels. The door to mido for scores.


_MOST_NOTES = 200_000
_DRUMS = 9
"""Channel 10 of General MIDI, counted from 0."""
_FIFTHS = {"Cb": -7, "Gb": -6, "Db": -5, "Ab": -4, "Eb": -3, "Bb": -2, "F": -1, "C": 0, "G": 1}
_FIFTHS |= {"D": 2, "A": 3, "E": 4, "B": 5, "F#": 6, "C#": 7, "G#": 8, "D#": 9, "A#": 10}


@dataclass(frozen=True, slots=True)
class MidiNote:
    """A key from its going down to its coming up, in ticks."""

    start: int
    end: int
    pitch: int


@dataclass
class Stream:
    """The notes of one channel of one track."""

    track: int
    channel: int
    name: str = ""
    program: int = 0
    """General MIDI program from 0: 0 to 7 are pianos."""
    notes: list[MidiNote] = field(default_factory=list)


@dataclass
class MidiPiece:
    """A MIDI file's notes and what it says of metre, key and tempo; times in ticks."""

    ticks_per_quarter: int
    streams: list[Stream] = field(default_factory=list)
    metres: list[tuple[int, int, int]] = field(default_factory=list)
    """(tick, upper, lower)."""
    keys: list[tuple[int, int]] = field(default_factory=list)
    """(tick, sharps, or flats as a negative number)."""
    tempos: list[tuple[int, int]] = field(default_factory=list)
    """(tick, microseconds a quarter)."""
    title: str = ""
    drums: int = 0
    """Strokes of drums: nothing for a piano."""
    unended: int = 0
    """Notes whose end is missing: they end with their track."""


def read_midi_file(data: bytes, name: str) -> MidiPiece:
    """Read a Standard MIDI file of format 0 or 1.

    Raises ScoreError where it is damaged, of format 2, or timed in film frames.
    """
    import mido

    start = max(data.find(b"MThd"), 0)
    try:
        file = mido.MidiFile(file=io.BytesIO(data[start:]), clip=True)
    except Exception:  # whatever a damaged file does to mido, the pianist gets one sentence
        raise ScoreError(f"{name} is a damaged MIDI file: export or download it again.") from None
    if file.type == 2:
        raise ScoreError(f"{name} holds several pieces in one file: save each as its own.")
    if file.ticks_per_beat == 0:
        raise ScoreError(f"{name} gives no length to a beat: it is damaged; export it again.")
    if file.ticks_per_beat < 0:
        raise ScoreError(f"{name} is timed in film frames and has no beats: export it again.")
    piece = MidiPiece(file.ticks_per_beat)
    for index, track in enumerate(file.tracks):
        _Track(piece, index).read(track)
    if sum(len(stream.notes) for stream in piece.streams) > _MOST_NOTES:
        raise ScoreError(f"{name} has more than {_MOST_NOTES} notes: refused.")
    return piece


class _Track:
    """One track while it is read."""

    def __init__(self, piece: MidiPiece, index: int) -> None:
        self._piece = piece
        self._index = index
        self._name = ""
        self._tick = 0
        self._streams: dict[int, Stream] = {}
        self._down: dict[tuple[int, int], list[int]] = {}

    def read(self, messages: Iterable[Any]) -> None:
        """Read all messages, in mido's form, with times since the message before."""
        for message in messages:
            self._message(message)
        for (channel, pitch), starts in self._down.items():
            self._piece.unended += len(starts)
            for start in starts:
                self._add(channel, pitch, start)
        for stream in self._streams.values():
            stream.name = self._name
            stream.notes.sort(key=lambda note: (note.start, note.pitch))
            if stream.notes:
                self._piece.streams.append(stream)

    def _message(self, message: Any) -> None:
        # mido's messages have their attributes from a table, so no checker can know them.
        get: Callable[[str], Any] = message.__dict__.get
        kind = get("type")
        self._tick += int(get("time") or 0)
        if kind == "note_on" and get("velocity"):
            self._down.setdefault((get("channel"), get("note")), []).append(self._tick)
        elif kind in ("note_on", "note_off"):
            starts = self._down.get((get("channel"), get("note")))
            if starts:
                self._add(get("channel"), get("note"), starts.pop(0))
        elif kind == "program_change":
            self._stream(get("channel")).program = get("program")
        elif kind == "track_name":
            self._name = self._name or clean(get("name"))
            if self._index == 0 and not self._piece.title:
                self._piece.title = self._name
        else:
            self._meta(kind, get)

    def _meta(self, kind: str, get: Callable[[str], Any]) -> None:
        if kind == "time_signature":
            upper, lower = get("numerator"), get("denominator")
            if upper and lower and upper <= 256 and lower <= 256:
                self._piece.metres.append((self._tick, upper, lower))
        elif kind == "key_signature":
            key = str(get("key"))
            minor = key.endswith("m")
            fifths = _FIFTHS.get(key.removesuffix("m"), 0) - 3 * minor
            self._piece.keys.append((self._tick, fifths))
        elif kind == "set_tempo" and get("tempo"):
            self._piece.tempos.append((self._tick, int(get("tempo"))))

    def _stream(self, channel: int) -> Stream:
        return self._streams.setdefault(channel, Stream(self._index, channel))

    def _add(self, channel: int, pitch: int, start: int) -> None:
        if channel != _DRUMS:
            self._stream(channel).notes.append(MidiNote(start, max(self._tick, start + 1), pitch))
        else:
            self._piece.drums += 1


# Ticks as exact quarters, and whether a file's ticks are notation or a performance.


_GRIDS = (1, 2, 4, 8, 3, 6, 12, 16, 24, 32, 5, 10, 20, 7, 14, 9)
"""Parts of a quarter that notation uses, the plainest first."""
_NOTATED_SHARE = 0.95
_PLAIN_GRID = 24
"""Denominators up to here are plainly notated as they stand."""


def quarters(ticks: int, per_quarter: int) -> Fraction:
    """A time in quarters; a tuplet that the file had to round to a tick is put right."""
    return _quarters(ticks, per_quarter)


@lru_cache(maxsize=100_000)
def _quarters(ticks: int, per_quarter: int) -> Fraction:
    exact = Fraction(ticks, per_quarter)
    if exact.denominator <= _PLAIN_GRID or per_quarter < 96:
        return exact
    for parts in _GRIDS:
        near = Fraction(round(exact * parts), parts)
        if abs(near - exact) * per_quarter < 1:
            return near
    return exact


def is_notated(starts: Sequence[int], per_quarter: int) -> bool:
    """Whether nearly all onsets stand on a grid of 24ths or 32nds of a quarter.

    A player's onsets do so by chance only: at 480 ticks a quarter, about one in ten.
    """
    if not starts:
        return True
    on_grid = sum(_is_plain(Fraction(start, per_quarter)) for start in starts)
    return on_grid >= _NOTATED_SHARE * len(starts)


def _is_plain(onset: Fraction) -> bool:
    return any((onset * parts).denominator == 1 for parts in (24, 32)) or _rounds(onset)


def _rounds(onset: Fraction) -> bool:
    """A triplet or quintuplet rounded to the nearest tick."""
    return any(abs(round(onset * parts) - onset * parts) * 96 < parts // 3 for parts in (3, 5, 6))


# Which track of a MIDI file is which hand.


_PIANOS = range(8)
"""General MIDI programs of the piano family, counted from 0."""
_RIGHT = re.compile(r"right|\br\.?\s?h\b|\brh\b|destra|droite|recht|upper|treble", re.IGNORECASE)
_LEFT = re.compile(r"left|\bl\.?\s?h\b|\blh\b|sinistra|gauche|link|lower|bass\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class HandNote:
    """A note with its hand; times in ticks."""

    start: int
    end: int
    pitch: int
    hand: Hand
    hand_is_guess: bool


def hands_of_tracks(piece: MidiPiece, name: str) -> tuple[list[HandNote], list[Remark]]:
    """The piano's notes in the order of their onsets, each with its hand.

    Raises ScoreError where the file holds no note for a piano.
    """
    if not piece.streams and piece.drums:
        raise ScoreError(f"{name} holds only drums: open a score with a piano in it.")
    if not piece.streams:
        raise ScoreError(f"{name} holds no note that could be played: export the score again.")
    streams = _pianos(piece.streams)
    remarks = []
    left_out = [s.name or f"track {s.track + 1}" for s in piece.streams if s not in streams]
    if left_out:
        text = f"Only the piano's tracks are to be played; left out: {', '.join(left_out[:12])}."
        remarks.append(Remark("left out", text))
    if len(streams) == 1:
        remarks.append(Remark("guess", "The file has one track: the hands are a guess."))
        notes = _split_stream(streams[0])
    else:
        hands, is_guess = _by_track(streams)
        if is_guess:
            text = "The file does not name its hands: higher tracks were given to the right hand."
            remarks.append(Remark("guess", text))
        notes = [
            HandNote(note.start, note.end, note.pitch, hand, is_guess and len(streams) > 2)
            for stream, hand in zip(streams, hands, strict=True)
            for note in stream.notes
        ]
    return sorted(notes, key=lambda note: (note.start, note.pitch)), remarks


def _pianos(streams: Sequence[Stream]) -> list[Stream]:
    """The piano's streams: those with a piano's sound, or all where none has one."""
    sounding = [s for s in streams if s.program in _PIANOS and not OTHER_PLAYERS.search(s.name)]
    named = [s for s in sounding if _RIGHT.search(s.name) or _LEFT.search(s.name)]
    if len(named) > 1 and len(named) < len(sounding):
        return named
    return sounding or list(streams)


def _split_stream(stream: Stream) -> list[HandNote]:
    hands = split_hands([(note.start, note.end, note.pitch) for note in stream.notes])
    return [
        HandNote(note.start, note.end, note.pitch, hand, True)
        for note, hand in zip(stream.notes, hands, strict=True)
    ]


def _by_track(streams: Sequence[Stream]) -> tuple[list[Hand], bool]:
    """Each stream's hand: by its name, else the higher of two, else by middle C."""
    named = [_named_hand(stream.name) for stream in streams]
    if all(named):
        return [hand or Hand.RIGHT for hand in named], False
    heights = [sum(note.pitch for note in s.notes) / len(s.notes) for s in streams]
    if len(streams) == 2:
        upper = heights.index(max(heights))
        return [Hand.RIGHT if i == upper else Hand.LEFT for i in range(2)], True
    by_height = [Hand.RIGHT if height >= MIDDLE_C else Hand.LEFT for height in heights]
    return [name or guess for name, guess in zip(named, by_height, strict=True)], True


def _named_hand(name: str) -> Hand | None:
    right, left = bool(_RIGHT.search(name)), bool(_LEFT.search(name))
    if right == left:
        return None
    return Hand.RIGHT if right else Hand.LEFT


# A MIDI file as a Score: what it says exactly, and what can only be guessed from it.
#
# A MIDI file has no spelling, no staves and no ties, and its lengths are those that it plays. Keys,
# metres and tempos are taken from it; notes are spelled by the key; hands are taken from the tracks
# or, from a single track, guessed.


_MOST_BARS = 20_000
_DEFAULT_QPM = 120.0
"""Where a MIDI file has no tempo (Standard MIDI Files 1.0)."""
_MAJOR = (0, 2, 4, 5, 7, 9, 11)
"""The major scale in semitones from its tonic."""


def read_midi(source: Source) -> Score:
    """Read a Standard MIDI file of format 0 or 1.

    Raises ScoreError where it is damaged, or holds no note with a pitch.
    """
    if source.part:
        raise ScoreError(
            f"{source.name} is MIDI, which has tracks and no parts: leave --part out, or open the "
            "piece as MusicXML."
        )
    piece = read_midi_file(source.data, source.name)
    notes, remarks = hands_of_tracks(piece, source.name)
    unit = piece.ticks_per_quarter
    notated = is_notated([note.start for note in notes], unit)
    keys = piece.keys or [(0, _likeliest_key([note.pitch for note in notes]))]
    bars = _bars(piece, keys, max(note.end for note in notes), source.name)
    return Score(
        title=piece.title or source.name.rsplit(".", 1)[0],
        bars=tuple(bars),
        notes=tuple(_notes(notes, bars, unit, notated)),
        clefs=(Clef(1, Fraction(0), "G", 2), Clef(2, Fraction(0), "F", 4)),
        tempos=_tempos(piece),
        remarks=(*remarks, *_remarks(piece, notated)),
        source=source.name,
    )


def _remarks(piece: MidiPiece, notated: bool) -> list[Remark]:
    out = [Remark("guess", "A MIDI file has no spelling: notes were spelled by the key.")]
    if not piece.keys:
        out.append(Remark("guess", "The file has no key signature: the likeliest was taken."))
    if not piece.metres:
        out.append(Remark("guess", "The file has no time signature: 4/4 was taken."))
    if not notated:
        text = (
            "The file is a performance, not notation: its rhythm stands as it was played, and the "
            "staff shows the nearest note values."
        )
        out.append(Remark("guess", text))
    if piece.unended:
        text = f"{count_of(piece.unended, 'note')} without an end: held to the end of the track."
        out.append(Remark("repaired", text))
    return out


def _likeliest_key(pitches: Sequence[int]) -> int:
    """The signature whose scale holds the most notes; the one with fewer accidentals of two."""
    counts = Counter(pitch % 12 for pitch in pitches)

    def count_in_key(fifths: int) -> int:
        return sum(counts[(7 * fifths + step) % 12] for step in _MAJOR)

    return max(range(-6, 7), key=lambda fifths: (count_in_key(fifths), -abs(fifths)))


def _bars(
    piece: MidiPiece, keys: Sequence[tuple[int, int]], last_tick: int, name: str
) -> list[Bar]:
    unit = piece.ticks_per_quarter
    end = Fraction(last_tick, unit)
    metres = _metres(piece)
    key_onsets = [Fraction(tick, unit) for tick, _ in keys]
    bars: list[Bar] = []
    for place, (onset, metre) in enumerate(metres):
        stop = metres[place + 1][0] if place + 1 < len(metres) else end
        while onset < stop:
            length = min(metre.bar_quarters, stop - onset) if stop < end else metre.bar_quarters
            key = keys[max(bisect_right(key_onsets, onset) - 1, 0)][1]
            bars.append(Bar(len(bars), str(len(bars) + 1), onset, length, metre, key))
            onset += length
            if len(bars) > _MOST_BARS:
                raise ScoreError(f"{name} is longer than {_MOST_BARS} bars: refused.")
    return bars


def _metres(piece: MidiPiece) -> list[tuple[Fraction, Metre]]:
    """The metres with their onsets in quarters, the first at 0; 4/4 where there is none."""
    metres = {Fraction(0): COMMON_TIME}
    for tick, upper, lower in sorted(piece.metres):
        metres[Fraction(tick, piece.ticks_per_quarter)] = Metre(upper, lower)
    return sorted(metres.items(), key=lambda pair: pair[0])


def _tempos(piece: MidiPiece) -> tuple[TempoMark, ...]:
    marks: dict[Fraction, TempoMark] = {}
    for tick, microseconds in sorted(piece.tempos):
        onset = Fraction(tick, piece.ticks_per_quarter)
        qpm = sensible(60_000_000 / microseconds)
        if qpm:
            marks[onset] = TempoMark(onset, qpm)
    if Fraction(0) not in marks:
        marks[Fraction(0)] = TempoMark(Fraction(0), _DEFAULT_QPM, "", True)
    return tuple(sorted(marks.values(), key=lambda mark: mark.onset_quarters))


def _notes(
    notes: Sequence[HandNote], bars: Sequence[Bar], unit: int, notated: bool
) -> list[ScoreNote]:
    def time(ticks: int) -> Fraction:
        return quarters(ticks, unit) if notated else Fraction(ticks, unit)

    onsets = [bar.onset_quarters for bar in bars]
    following = _next_onsets(notes)
    counts: Counter[int] = Counter()
    out = []
    for note in notes:
        onset = time(note.start)
        bar = bars[bisect_right(onsets, onset) - 1]
        counts[bar.index] += 1
        staff = 1 if note.hand is Hand.RIGHT else 2
        played = max(time(note.end) - onset, Fraction(1, unit))
        gap = time(following[note]) - onset if note in following else None
        written = written_length(played, gap)
        out.append(
            ScoreNote(
                id=f"b{bar.index}n{counts[bar.index]}",
                pitch=note.pitch,
                spelling=Spelling.of(note.pitch, bar.key_fifths),
                onset_quarters=onset,
                length_quarters=played,
                staff=staff,
                hand=note.hand,
                bar_index=bar.index,
                segments_quarters=() if written == played else (written,),
                hand_is_guess=note.hand_is_guess,
            )
        )
    return sorted(out, key=lambda note: (note.onset_quarters, note.pitch))


_HELD_SHARE = Fraction(3, 4)
"""Of the time to the hand's next onset: who holds a note so long means to hold it till then. Own
choice: exporters write nine tenths and more of a note's length, and half of it for a staccato."""
_NEAREST_SHARE = Fraction(1, 8)
"""How far a length may be from the note value that it is written with."""
_LENGTH_GRIDS = (1, 2, 4, 3, 6, 8, 12, 16)
"""Parts of a quarter that lengths are written in, the plainest first."""


def _next_onsets(notes: Sequence[HandNote]) -> dict[HandNote, int]:
    """For each note the tick at which its hand strikes next."""
    out: dict[HandNote, int] = {}
    for hand in Hand:
        of_hand = [note for note in notes if note.hand is hand]
        starts = sorted({note.start for note in of_hand})
        after = dict(pairwise(starts))
        out |= {note: after[note.start] for note in of_hand if note.start in after}
    return out


def written_length(played: Fraction, gap: Fraction | None) -> Fraction:
    """The length that a played one is written with: up to the next onset, or the nearest value.

    Exporters let go a tick or a tenth early, so that the same key can be struck again.
    """
    if gap and _HELD_SHARE * gap <= played <= gap * (1 + _NEAREST_SHARE):
        return gap
    for parts in _LENGTH_GRIDS:
        near = Fraction(round(played * parts), parts)
        if near and abs(near - played) <= _NEAREST_SHARE * played:
            return near
    return played
