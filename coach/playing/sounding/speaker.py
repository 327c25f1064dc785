"""The computer's own speaker, where the piano takes no MIDI: a plucked tone of our own making.

A string struck with a soft hammer, as a sum of partials: each a little sharp of its harmonic, as
stiff strings are, and the higher the sooner over. No piano, but a pitch with a beginning and an
end, which is what there is to be heard. Clicks are short bursts of the same.

Needs the extra ``speaker`` (sounddevice, which brings PortAudio or finds the system's, and numpy).
"""

from __future__ import annotations

import subprocess
import threading
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from importlib.util import find_spec
from typing import Any

from coach.children import end_python, start_python
from coach.playing.click_schedule import HIGH_WOOD_BLOCK
from coach.playing.midi_events import (
    ALL_NOTES_OFF,
    ALL_SOUND_OFF,
    CONTROL,
    DAMPER,
    DOWN_FROM,
    DRUM_CHANNEL,
    NOTE_OFF,
    NOTE_ON,
)

SPEAKER = "this computer's speaker"
"""What takes the place of a port's name."""
USUAL_RATE_HZ = 44_100
"""Samples a second, where the device wants no other."""
BLOCK_FRAMES = 256
"""Asked for at once: 6 ms, by which a tone may be late. Own choice, because half of it makes
drop-outs on a busy machine."""
LONGEST_S = 4.0
PARTIALS = 10
STIFFNESS = 0.0004
"""How far partials are sharp: the n-th by the factor sqrt(1 + stiffness n²) (Fletcher 1964, the
figure of a middle string from memory)."""
LETS_GO_S = 0.12
"""From a key's release until its tone is over."""
CLICK_S, CLICK_HZ = 0.04, {True: 1600.0, False: 1100.0}
"""A click's length; its pitch, by whether it is the higher of the wood blocks."""
GAIN = 0.25
"""Of one loud tone: four of them reach full scale, and beyond that they are bent, not cut."""
MOST_VOICES = 24
ASK_PATIENCE_S = 3.0
"""Later than that there is none: it takes some tenths of a second. Own choice."""
_ASK = "import os, sounddevice; os._exit(not sounddevice.query_devices(kind='output'))"


@cache
def can_speak() -> bool:
    """Whether the packages, the library behind them and a device are there; asked once.

    In a process of its own: PortAudio speaks to every sound system there is, and one that has
    stopped may hold or end whoever asked.
    """
    if find_spec("sounddevice") is None or find_spec("numpy") is None:
        return False
    child = start_python(["-c", _ASK])
    try:
        return child.wait(ASK_PATIENCE_S) == 0
    except subprocess.TimeoutExpired:
        return False
    finally:
        end_python(child)


@cache
def make_tone(pitch: int, rate_hz: int = USUAL_RATE_HZ) -> Any:
    """One string's tone at full loudness, as an array of samples."""
    np = import_module("numpy")
    hz = 440.0 * 2 ** ((pitch - 69) / 12)
    lasts_s = min(LONGEST_S, 1.2 + 600 / hz)
    time_s = np.arange(int(lasts_s * rate_hz)) / rate_hz
    tone = np.zeros_like(time_s)
    for n in range(1, PARTIALS + 1):
        partial_hz = n * hz * (1 + STIFFNESS * n * n) ** 0.5
        if partial_hz < rate_hz / 2:
            decay = np.exp(-time_s * (1.5 + 0.8 * n) * (hz / 261.6) ** 0.5)
            tone += np.sin(2 * np.pi * partial_hz * time_s) * decay / n**1.3
    attack = np.minimum(time_s / 0.003, 1.0)
    end = np.minimum((lasts_s - time_s) / 0.05, 1.0)
    shaped = tone * attack * end
    return (shaped / np.abs(shaped).max()).astype(np.float32)


@cache
def make_click(key: int, rate_hz: int = USUAL_RATE_HZ) -> Any:
    """One click, as an array of samples."""
    np = import_module("numpy")
    time_s = np.arange(int(CLICK_S * rate_hz)) / rate_hz
    hz = CLICK_HZ[key == HIGH_WOOD_BLOCK]
    return (np.sin(2 * np.pi * hz * time_s) * np.exp(-time_s * 120)).astype(np.float32)


@dataclass(slots=True)
class _Voice:
    """A tone that sounds."""

    key: int
    samples: Any
    gain: float
    at: int = 0
    left: int | None = None
    """Samples until it is over, once it was let go of."""


class Synth:
    """MIDI messages in, samples out. Thread-safe: yes; one sends while another renders."""

    def __init__(self, rate_hz: int = USUAL_RATE_HZ) -> None:
        self._rate_hz = rate_hz
        self._np = import_module("numpy")
        self._lock = threading.Lock()
        self._voices: list[_Voice] = []
        self._held: set[int] = set()
        """Keys let go of while the pedal is down."""
        self._pedal = False

    def take(self, message: Sequence[int]) -> None:
        """Begin a tone, end one, or move the pedal."""
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        begins = kind == NOTE_ON and message[2] > 0
        make = make_click if channel == DRUM_CHANNEL else make_tone
        samples = make(message[1], self._rate_hz) if begins else None  # long: not while locked
        with self._lock:
            if begins:
                self._begin(message[1], message[2], samples, is_click=channel == DRUM_CHANNEL)
            elif kind in (NOTE_ON, NOTE_OFF) and channel != DRUM_CHANNEL:
                self._release(message[1])
            elif kind == CONTROL and message[1] == DAMPER:
                self._move_pedal(message[2] >= DOWN_FROM)
            elif kind == CONTROL and message[1] in (ALL_SOUND_OFF, ALL_NOTES_OFF):
                self._let_go({voice.key for voice in self._voices})

    def render(self, frames: int) -> Any:
        """The next samples."""
        np = self._np
        out = np.zeros(frames, np.float32)
        with self._lock:
            for voice in self._voices:
                self._add(voice, out)
            self._voices = [
                voice for voice in self._voices if voice.at < len(voice.samples) and voice.left != 0
            ]
        return np.tanh(out)

    def _begin(self, key: int, velocity: int, samples: Any, *, is_click: bool) -> None:
        gain = GAIN * (velocity / 127) ** 1.5
        if not is_click:
            self._let_go({key})
        self._voices.append(_Voice(-1 if is_click else key, samples, gain))
        self._voices = self._voices[-MOST_VOICES:]

    def _release(self, key: int) -> None:
        if self._pedal:
            self._held.add(key)
        else:
            self._let_go({key})

    def _move_pedal(self, is_down: bool) -> None:
        self._pedal = is_down
        if not is_down:
            held, self._held = self._held, set()
            self._let_go(held)

    def _let_go(self, keys: set[int]) -> None:
        for voice in self._voices:
            if voice.key in keys and voice.left is None:
                voice.left = int(LETS_GO_S * self._rate_hz)

    def _add(self, voice: _Voice, out: Any) -> None:
        np = self._np
        count = min(len(out), len(voice.samples) - voice.at)
        if voice.left is not None:
            count = min(count, voice.left)
        part = voice.samples[voice.at : voice.at + count] * np.float32(voice.gain)
        if voice.left is not None:
            whole = LETS_GO_S * self._rate_hz
            part = part * np.linspace(voice.left / whole, (voice.left - count) / whole, count)
            voice.left -= count
        out[:count] += part
        voice.at += count


def _make_ready(rate_hz: int) -> None:
    """Make the tones before they are asked for: each takes some milliseconds."""
    for pitch in sorted(range(36, 97), key=lambda pitch: abs(pitch - 60)):
        make_tone(pitch, rate_hz)


class SpeakerPort:
    """An output that sounds through the speaker. Raises OSError where there is none."""

    def __init__(self) -> None:
        try:
            sounddevice = import_module("sounddevice")
            device = sounddevice.query_devices(kind="output")
            rate_hz = int(device["default_samplerate"])
            self._synth = Synth(rate_hz)
            self._stream = sounddevice.OutputStream(
                samplerate=rate_hz,
                blocksize=BLOCK_FRAMES,
                channels=1,
                dtype="float32",
                latency="low",
                callback=self._fill,
            )
            self._stream.start()
            warm = threading.Thread(target=_make_ready, args=(rate_hz,), daemon=True)
            warm.start()
        except Exception as error:  # no library, no device, a busy one: each says it otherwise
            raise OSError(f"no speaker: {error}") from error

    def send(self, message: Sequence[int]) -> None:
        """Sound it."""
        self._synth.take(message)

    def close(self) -> None:
        """Let go of the speaker."""
        with suppress(Exception):  # it may have gone meanwhile
            self._stream.close()

    def _fill(self, out: Any, frames: int, _time: object, _status: object) -> None:
        out[:, 0] = self._synth.render(frames)
