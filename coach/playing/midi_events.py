"""What comes in from the piano: keys, pedals, the piano coming and going; and MIDI's numbers.

Times are seconds on one monotonic clock (``time.perf_counter``); only differences mean anything.
"""

from __future__ import annotations

from dataclasses import dataclass

NOTE_OFF, NOTE_ON, CONTROL = 0x80, 0x90, 0xB0
"""A message's first byte on the first channel (MIDI 1.0)."""
DAMPER, SOSTENUTO, SOFT = 64, 66, 67
"""The pedals' controllers (MIDI 1.0)."""
DOWN_FROM = 64
"""A pedal or switch is down from this value (MIDI 1.0, table of controllers: 0 to 63 off)."""
ALL_SOUND_OFF, ALL_NOTES_OFF = 120, 123
"""Controllers that end what sounds (MIDI 1.0)."""
DRUM_CHANNEL = 9
"""Percussion, counted from 0 (General MIDI level 1)."""


@dataclass(frozen=True, slots=True)
class KeyDown:
    """A key went down."""

    pitch: int
    """MIDI key number."""
    velocity: int
    """1 to 127."""
    at_s: float


@dataclass(frozen=True, slots=True)
class KeyUp:
    """A key was let go."""

    pitch: int
    at_s: float


@dataclass(frozen=True, slots=True)
class Pedal:
    """A pedal moved."""

    controller: int
    """64 damper, 66 sostenuto, 67 soft (MIDI 1.0)."""
    value: int
    """0 to 127; 64 and more is down."""
    at_s: float


KeyEvent = KeyDown | KeyUp | Pedal
"""What a pianist does at the keys and pedals: one record from the port to the follower."""


@dataclass(frozen=True, slots=True)
class ButtonDown:
    """A button of the piano, or of a controller beside it, was pressed."""

    number: int
    """Its MIDI controller; from :data:`PROGRAM` on it is a program that was chosen."""
    at_s: float


PROGRAM = 128
"""Added to a program's number: controllers end at 127 (MIDI 1.0)."""


@dataclass(frozen=True, slots=True)
class PianoFound:
    """A piano is there and is listened to."""

    name: str


@dataclass(frozen=True, slots=True)
class PianoLost:
    """The piano that was listened to is gone; we go on looking for it.

    Comes again where there is something else to say about it.
    """

    name: str
    """"" where none was listened to yet."""
    why: str = ""
    """A sentence that says what to do where the whole MIDI system is gone; else ""."""


@dataclass(frozen=True, slots=True)
class OtherPianos:
    """Which other pianos are there now, and not listened to; comes where that has changed."""

    heard: str
    """The piano that is listened to."""
    names: tuple[str, ...]
    """What to ask for in its place (``--port``), one for each of the others."""


MidiEvent = KeyEvent | ButtonDown | PianoFound | PianoLost | OtherPianos
"""Anything that the ports post."""
