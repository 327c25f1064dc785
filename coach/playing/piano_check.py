"""How a piano is set, by what arrives from it: channels, touch, pedal, clock, octave.

What can be handled is handled elsewhere (a layer is one key, active sensing and clock are passed
over); what can't be is named here, with what to do about it at the piano.

Pure: time is an argument. The MIDI thread writes, the screen reads.
"""

from __future__ import annotations

from collections import Counter, deque
from itertools import pairwise

from coach.playing.command_keys import RANGES
from coach.playing.midi_events import CONTROL, DAMPER, DRUM_CHANNEL, NOTE_ON
from coach.score.pitch import Spelling

_CLOCK, _SENSING = 0xF8, 0xFE
LAYER_S = 0.03
"""The same key on two channels within this time is one stroke, for two sounds."""
FEW_KEYS = 6
"""From so many keys on something can be said of the touch. Own choice, because fewer may well be
alike by chance."""
HEAVY, LIGHT = 112, 24
"""Where every key is louder, or softer, the touch is set wrong. Own choice: nobody tries a piano
out so evenly at either end of 127."""


class PianoCheck:
    """Gathers what arrives, and says what of it needs a hand at the piano."""

    def __init__(self) -> None:
        self.last = ""
        """What arrived last, in words."""
        self._channels: Counter[int] = Counter()
        self._ranges: dict[int, tuple[int, int]] = {}
        """Lowest and highest key of each channel."""
        self._velocities: list[int] = []
        self._recent: deque[tuple[int, int, float]] = deque(maxlen=20)
        self._is_layered = self._has_clock = self._has_sensing = False
        self._damper: set[int] = set()

    def take(self, status: int, data: tuple[int, ...], at_s: float) -> None:
        """A message arrived."""
        kind, channel = status & 0xF0, status & 0x0F
        if status == _CLOCK:
            self._has_clock = True
        elif status == _SENSING:
            self._has_sensing = True
        elif kind == NOTE_ON and data[1] > 0:
            self._take_key(channel, data[0], data[1], at_s)
        elif kind == CONTROL and data[0] == DAMPER:
            self._damper.add(data[1])
            self.last = f"right pedal {data[1]}, channel {channel + 1}"
        elif kind == CONTROL:
            self.last = f"controller {data[0]} at {data[1]}, channel {channel + 1}"

    def _take_key(self, channel: int, key: int, velocity: int, at_s: float) -> None:
        others = (one for one in self._recent if one[0] == key and one[1] != channel)
        if any(at_s - when_s <= LAYER_S for _, _, when_s in others):
            self._is_layered = True
        else:
            self._velocities.append(velocity)
        self._recent.append((key, channel, at_s))
        self._channels[channel] += 1
        low, high = self._ranges.get(channel, (key, key))
        self._ranges[channel] = min(low, key), max(high, key)
        name = Spelling.of(key)
        self.last = f"{name.words} {name.octave}, loudness {velocity}, channel {channel + 1}"

    @property
    def findings(self) -> tuple[str, ...]:
        """What is worth knowing, a sentence each; what needs a hand at the piano first."""
        return tuple(
            filter(None, (self._touch, self._drums, self._sounds, self._pedal, self._clock))
        )

    @property
    def _touch(self) -> str:
        heard = self._velocities
        if len(heard) < FEW_KEYS:
            return ""
        if len(set(heard)) == 1:
            return (
                f"Every key comes with loudness {heard[0]}: set the touch (velocity curve) from "
                "“fixed” to “normal”, or your dynamics can't be heard."
            )
        if min(heard) >= HEAVY or max(heard) <= LIGHT:
            which = "loud" if min(heard) >= HEAVY else "soft"
            return f"Every key comes very {which}: set the touch (velocity curve) to “normal”."
        return ""

    @property
    def _drums(self) -> str:
        if self._channels[DRUM_CHANNEL] == 0:
            return ""
        return "Keys come on channel 10, the one for drums: set the piano to send on channel 1."

    @property
    def _sounds(self) -> str:
        if len(self._ranges) < 2:
            return ""
        if self._is_layered:
            return "Two sounds are layered, on two channels: I hear each key once."
        lows = sorted(self._ranges.values())
        if all(one[1] < after[0] for one, after in pairwise(lows)):
            return (
                "The keyboard is split over two channels: I hear it as one. Turn the split off if "
                "its lower part sounds an octave away."
            )
        return "Keys come on several channels: I hear them as one."

    @property
    def _pedal(self) -> str:
        if not self._damper:
            return ""
        if self._damper <= {0, 127}:
            return "The right pedal is on or off: half-pedalling is not sent."
        return "The right pedal is sent in steps: half-pedalling is heard."

    @property
    def _clock(self) -> str:
        clock = "a clock" if self._has_clock else ""
        sensing = "active sensing" if self._has_sensing else ""
        sent = list(filter(None, (clock, sensing)))
        return f"It sends {' and '.join(sent)}: passed over." if sent else ""


def name_shift(lowest: int, highest: int) -> tuple[int, str]:
    """How many keys a piano has by its lowest and highest, and what to do where it is shifted.

    ``(61, "")``; of a number of keys that is not known the largest known number below it.
    """
    count = highest - lowest + 1
    size = max((known for known in RANGES if known <= count), default=min(RANGES))
    shift = lowest - RANGES[size][0]
    if size != count or shift == 0:
        return size, ""
    if shift % 12 == 0:
        octaves = "an octave" if abs(shift) == 12 else f"{abs(shift) // 12} octaves"
        way = "up" if shift > 0 else "down"
        return size, f"It is shifted {octaves} {way}: set its octave shift back to 0."
    return size, f"It is transposed by {shift:+d} semitones: set its transposition back to 0."
