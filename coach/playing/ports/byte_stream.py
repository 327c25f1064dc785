"""Bytes from a piano to keys and pedals, as MIDI 1.0 has them.

Running status, real-time bytes inside other messages, note-on with velocity 0 as note-off, system
exclusive skipped (any status byte ends it, whether its own end came or not). Two things that pianos
do besides: a layered sound sends every key on a second channel, which is still one key; and "all
notes off" lets go of whatever is down on its channel.

Active sensing: a piano that says every 300 ms that it is there, and then no more.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from coach.playing.midi_events import (
    ALL_NOTES_OFF,
    ALL_SOUND_OFF,
    CONTROL,
    DAMPER,
    DOWN_FROM,
    NOTE_OFF,
    NOTE_ON,
    PROGRAM,
    SOFT,
    SOSTENUTO,
    ButtonDown,
    KeyDown,
    KeyEvent,
    KeyUp,
    Pedal,
)

PEDALS = frozenset({DAMPER, SOSTENUTO, SOFT})

NO_BUTTONS = frozenset({0, 1, 2, 4, 5, 6, 7, 8, 10, 11, 32, 38, 64, 66, 67, 88, *range(91, 128)})
"""Controllers that no button sends by itself: bank, wheels, volume, data entry, effects, parameter
numbers, channel modes, and 88, which refines a velocity (MIDI 1.0)."""

ACTIVE_SENSING = 0xFE
EXCLUSIVE, EXCLUSIVE_END = 0xF0, 0xF7
_PROGRAM_CHANGE = 0xC0
_SYSTEM, _REAL_TIME = 0xF0, 0xF8
_DATA_BYTES = {
    0x80: 2, 0x90: 2, 0xA0: 2, 0xB0: 2, 0xC0: 1, 0xD0: 1, 0xE0: 2,
    0xF1: 1, 0xF2: 2, 0xF3: 1,
}  # fmt: skip
"""Data bytes after each status (MIDI 1.0, table of messages); the channel is left out."""


@dataclass(frozen=True, slots=True)
class Message:
    """One complete message: its status byte and its data bytes."""

    status: int
    data: tuple[int, ...] = ()


class Splitter:
    """Cuts a stream of bytes, however it is chopped, into whole messages.

    System exclusive and stray data bytes are skipped; real-time bytes come out at once, from
    inside another message too, and do not disturb it.
    """

    def __init__(self) -> None:
        self._status: int | None = None  # of the message that data bytes belong to
        self._data: list[int] = []

    def feed(self, stream: Iterable[int]) -> list[Message]:
        """The messages that these bytes complete."""
        return [message for byte in stream if (message := self._take(byte)) is not None]

    def _take(self, byte: int) -> Message | None:
        if byte >= _REAL_TIME:
            return Message(byte)
        if byte >= 0x80:
            return self._begin(byte)
        if self._status is None:
            return None
        self._data.append(byte)
        return self._complete()

    def _begin(self, status: int) -> Message | None:
        known = _data_bytes(status)
        self._status, self._data = (status if known else None), []
        return None

    def _complete(self) -> Message | None:
        status = self._status
        if status is None or len(self._data) < _data_bytes(status):
            return None
        message = Message(status, tuple(self._data))
        self._data = []
        if status >= _SYSTEM:  # only channel messages run on
            self._status = None
        return message


def _data_bytes(status: int) -> int:
    return _DATA_BYTES.get(status if status >= _SYSTEM else status & 0xF0, 0)


LAYER_S = 0.03
"""Within this time a key that comes on another channel too is the same stroke, sent for a second
sound. A cable brings the twenty messages of a chord of ten in 19 ms, so the copy of its first key
comes some 10 ms after it; no finger repeats a key within 50 ms."""


@dataclass(slots=True)
class _KeyChannels:
    """One stroke of a key: the channel that brought it first, and those with a copy of it."""

    channel: int
    at_s: float
    channels: set[int]


class KeyReader:
    """Messages to keys, pedals and buttons; everything else is dropped.

    A key is down on its channel. A keyboard that plays two sounds at once (a layer) sends each
    stroke on two channels within a few milliseconds: that is one stroke, and it is let go of when
    the first channel lets go. The same key on another channel later is another stroke, whatever
    hangs on the first one: a stuck key, or the other part of a split keyboard.
    """

    def __init__(self) -> None:
        self._newest: dict[int, _KeyChannels] = {}
        """By pitch; a stroke that is let go of stays here, for a copy of it may still come."""
        self._down: set[int] = set()
        """Pitches that were said to be down."""
        self._pressed: set[int] = set()
        """Controllers whose last value was a switch that is on."""

    def read(self, message: Message, at_s: float) -> tuple[KeyEvent | ButtonDown, ...]:
        """What this message means for keys, pedals and buttons; mostly one event or none."""
        kind, channel = message.status & 0xF0, message.status & 0x0F
        if kind == _PROGRAM_CHANGE:
            return (ButtonDown(PROGRAM + message.data[0], at_s),)
        if kind not in (NOTE_ON, NOTE_OFF, CONTROL):
            return ()
        number, value = message.data
        if kind == CONTROL:
            return self._control(number, value, channel, at_s)
        if kind == NOTE_ON and value > 0:
            return self._key_down(number, value, channel, at_s)
        return self._key_up(number, channel, at_s)

    def _key_down(
        self, pitch: int, velocity: int, channel: int, at_s: float
    ) -> tuple[KeyEvent, ...]:
        stroke = self._newest.get(pitch)
        if stroke and channel not in stroke.channels and at_s - stroke.at_s <= LAYER_S:
            stroke.channels.add(channel)
            return ()
        self._newest[pitch] = _KeyChannels(channel, at_s, {channel})
        self._down.add(pitch)
        return (KeyDown(pitch, velocity, at_s),)

    def _key_up(self, pitch: int, channel: int, at_s: float) -> tuple[KeyEvent, ...]:
        """Only the newest stroke is let go of: one that hung on another channel is over already."""
        if pitch not in self._down or self._newest[pitch].channel != channel:
            return ()
        self._down.discard(pitch)
        return (KeyUp(pitch, at_s),)

    def _control(
        self, number: int, value: int, channel: int, at_s: float
    ) -> tuple[KeyEvent | ButtonDown, ...]:
        if number in PEDALS:
            return (Pedal(number, value, at_s),)
        if number in (ALL_SOUND_OFF, ALL_NOTES_OFF):
            ups = [self._key_up(pitch, channel, at_s) for pitch in sorted(self._down)]
            return tuple(up for some in ups for up in some)
        return self._button(number, value, at_s) if number not in NO_BUTTONS else ()

    def _button(self, number: int, value: int, at_s: float) -> tuple[ButtonDown, ...]:
        """A button is pressed where its controller comes on; what it sends when let go is none."""
        was_pressed = number in self._pressed
        (self._pressed.add if value >= DOWN_FROM else self._pressed.discard)(number)
        return (ButtonDown(number, at_s),) if value >= DOWN_FROM and not was_pressed else ()


SILENCE_S = 0.7
"""Longest silence of a piano that sends active sensing. MIDI 1.0 asks for a message within 300 ms;
receivers in the field wait 420 ms; a busy machine may add some."""

STEADY_COUNT = 8
"""After so many, with no silence between, a piano is believed to go on sending them: two seconds of
its 300 ms. A byte that strays in, or a few when it is switched on, are no promise. Our choice."""

PAUSE_S = 0.1
"""It is sent where nothing else was: one that comes sooner after another message is not counted."""


class Sensing:
    """Tells when a piano that sends active sensing steadily has fallen silent for good.

    A piano that does not is never taken for lost: its silence means nothing. Nor is one that was
    taken for lost and came back, until it has been steady anew.
    """

    def __init__(self) -> None:
        self._count = 0
        self._last_s = 0.0

    def note_message(self, at_s: float, *, sensing: bool) -> None:
        """Any message came; ``sensing`` where it was active sensing."""
        quiet_s = at_s - self._last_s
        if quiet_s > SILENCE_S:
            self._count = 0
        if sensing and quiet_s >= PAUSE_S:
            self._count += 1
        self._last_s = at_s

    def is_lost(self, now_s: float) -> bool:
        """True where the piano ought to have sent something by now."""
        return self._count >= STEADY_COUNT and now_s - self._last_s > SILENCE_S
