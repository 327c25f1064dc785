"""Takes: from keys that go down and up to a take, and a take as a Standard MIDI file."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import mido

from coach.playing.midi_events import DRUM_CHANNEL, KeyDown, KeyEvent, KeyUp, MidiEvent, Pedal
from coach.playing.notes import PedalMove, PlayedNote, Take
from coach.playing.ports import KeyReader, Message

# From keys that go down and up to the take: the notes with how long each was held.


class TakeRecorder:
    """Collects keys and pedals, in the order in which they came.

    A key struck again without having been let go ends its earlier note there.
    """

    def __init__(self) -> None:
        self._notes: list[PlayedNote] = []
        self._pedals: list[PedalMove] = []
        self._down: dict[int, int] = {}  # pitch to the index of its note

    def add(self, event: MidiEvent) -> None:
        """Take a key or a pedal down; anything else says nothing about a take."""
        if isinstance(event, KeyDown):
            self._let_go(event.pitch, event.at_s)
            self._down[event.pitch] = len(self._notes)
            self._notes.append(PlayedNote(event.pitch, event.velocity, event.at_s))
        elif isinstance(event, KeyUp):
            self._let_go(event.pitch, event.at_s)
        elif isinstance(event, Pedal):
            self._pedals.append(PedalMove(event.controller, event.value, event.at_s))

    def take(self) -> Take:
        """What was played up to now; keys still down have no length."""
        notes = sorted(self._notes, key=lambda note: note.onset_s)
        return Take(tuple(notes), tuple(self._pedals))

    def _let_go(self, pitch: int, at_s: float) -> None:
        index = self._down.pop(pitch, None)
        if index is not None:
            note = self._notes[index]
            self._notes[index] = replace(note, length_s=max(0.0, at_s - note.onset_s))


def take_of(events: Iterable[MidiEvent]) -> Take:
    """The take of these events."""
    recorder = TakeRecorder()
    for event in events:
        recorder.add(event)
    return recorder.take()


# The door to mido for takes: a take as a Standard MIDI file, and back.
#
# Written at 960 ticks to the quarter and 240 quarters a minute, so a tick is 0.26 ms; the tempo is
# only a ruler, the player's own tempo is in the onsets.


TICKS_PER_QUARTER = 960
QUARTER_US = 250_000
TICK_S = QUARTER_US / 1e6 / TICKS_PER_QUARTER
HELD_S = 0.5
"""What a note whose key was still down is given in a file, which must end every note."""

LARGEST_BYTES = 2 << 20
"""Some seven hours of ten notes a second; a file beyond it is no take."""


class TakeError(ValueError):
    """A recorded take can't be read or written; its text is one sentence for the pianist."""


def read_take(path: Path) -> Take:
    """The notes and pedals of a recorded performance, in seconds from the file's start.

    All tracks and channels together, but the percussion channel. Raises TakeError.
    """
    try:
        size = path.stat().st_size
        if size > LARGEST_BYTES:
            raise TakeError(f"{path} is {size >> 20} MB; a recorded take is far smaller.")
        take = take_of(_events(mido.MidiFile(path, clip=True)))
    except OSError as error:
        raise TakeError(_not_readable(path, error)) from error
    except TakeError:
        raise
    except Exception as error:  # mido has no error of its own: broken files raise anything
        raise TakeError(_not_midi(path)) from error
    if not take.notes:
        raise TakeError(f"{path} has no notes in it; record the take again.")
    return take


def write_take(take: Take, path: Path, markers: Sequence[tuple[float, str]] = ()) -> None:
    """Write a take as a Standard MIDI file (format 0) that begins with its first event.

    ``markers`` are words for moments of the take, such as where its bars begin. Raises TakeError
    where nothing was played or the file can't be written; a file that was there is then as before.
    """
    if not take.notes:
        raise TakeError("Nothing was played, so there is no take to save.")
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=QUARTER_US)])
    last = 0
    events = [*_messages(take), *_markers(take, markers)]
    for ticks, message in sorted(events, key=lambda timed: (timed[0], _order(timed[1]))):
        track.append(message.copy(time=ticks - last))
        last = ticks
    file = mido.MidiFile(type=0, ticks_per_beat=TICKS_PER_QUARTER, tracks=[track])
    beside = path.with_name(path.name + ".part")
    try:
        file.save(beside)
        os.replace(beside, path)
    except OSError as error:
        raise TakeError(f"{path} can't be written: {error.strerror or error}.") from error
    finally:
        beside.unlink(missing_ok=True)


def _events(file: mido.MidiFile) -> Iterator[KeyEvent]:
    if file.type == 2:
        raise TakeError(f"{file.filename} holds several pieces (format 2); save one of them alone.")
    if not 0 < file.ticks_per_beat < 0x8000:
        raise TakeError(
            f"{file.filename} counts time in film frames; save it in ticks per quarter."
        )
    reader, at_s = KeyReader(), 0.0
    for message in file:
        at_s += message.time
        if message.is_meta or message.is_realtime or message.type == "sysex":
            continue
        if getattr(message, "channel", DRUM_CHANNEL) != DRUM_CHANNEL:
            status, *data = message.bytes()
            read = reader.read(Message(status, tuple(data)), at_s)
            yield from (event for event in read if isinstance(event, KeyEvent))


def _start_s(take: Take) -> float:
    return min([note.onset_s for note in take.notes] + [move.at_s for move in take.pedals])


def _markers(
    take: Take, markers: Sequence[tuple[float, str]]
) -> Iterable[tuple[int, mido.MetaMessage]]:
    start_s = _start_s(take)
    for at_s, words in markers:
        ticks = max(round((at_s - start_s) / TICK_S), 0)
        yield (
            ticks,
            mido.MetaMessage("marker", text=words.encode("latin-1", "replace").decode("latin-1")),
        )


def _messages(take: Take) -> Iterable[tuple[int, mido.Message]]:
    start_s = _start_s(take)

    def ticks(at_s: float) -> int:
        return round((at_s - start_s) / TICK_S)

    for note in take.notes:
        end_s = note.onset_s + (HELD_S if note.length_s is None else note.length_s)
        yield (
            ticks(note.onset_s),
            mido.Message("note_on", note=note.pitch, velocity=note.velocity),
        )
        yield ticks(end_s), mido.Message("note_off", note=note.pitch)
    for move in take.pedals:
        message = mido.Message("control_change", control=move.controller, value=move.value)
        yield ticks(move.at_s), message


def _order(message: mido.Message | mido.MetaMessage) -> int:
    """At one moment a key is let go before it is struck again, and a bar begins before its note."""
    return {"note_off": 0, "marker": 1}.get(message.type, 2)


def _not_readable(path: Path, error: OSError) -> str:
    if isinstance(error, FileNotFoundError):
        return f"There is no file {path}; check its name and folder."
    if isinstance(error, IsADirectoryError):
        return f"{path} is a folder; name the MIDI file in it."
    # mido raises OSError for a file that is cut off, without an operating system's number
    return f"{path} can't be read: {error.strerror}." if error.errno else _not_midi(path)


def _not_midi(path: Path) -> str:
    return f"{path} is not a whole Standard MIDI file; save the take again as .mid."
