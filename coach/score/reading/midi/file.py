"""Standard MIDI files as they are: ticks, tracks and channels. The door to mido for scores."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

from coach.score.errors import ScoreError
from coach.score.reading.safe import clean

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
    if file.ticks_per_beat <= 0:
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
