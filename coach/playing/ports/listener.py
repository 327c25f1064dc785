"""Listening to one piano that may come and go: from the port's bytes to stamped events.

One small thread reads the port every half millisecond. rtmidi could call us back instead, sooner by
half a millisecond, but its own thread would then wait for Python's lock before it takes the next
message's time; read like this the stamps are immune to a busy screen.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from math import inf

from coach.playing.midi_events import (
    ButtonDown,
    KeyDown,
    KeyEvent,
    MidiEvent,
    OtherPianos,
    PianoFound,
    PianoLost,
)
from coach.playing.ports.byte_stream import (
    ACTIVE_SENSING,
    EXCLUSIVE,
    EXCLUSIVE_END,
    KeyReader,
    Message,
    Sensing,
    Splitter,
)
from coach.playing.ports.driver import Driver, InPort
from coach.playing.ports.own_sound import OwnSound
from coach.playing.ports.port_choice import choose, name_port, others

# When a key really went down: arrival times set right by the driver's own time between messages.
#
# A message is handed to Python late whenever something else holds the interpreter; the driver takes
# the time between two messages (``delta_s``) before that. So each message bounds the driver's clock
# on both sides: it came before it was read, and after the last time that the port was found empty.
# The bounds of all messages together soon leave less than a millisecond (measured beside a busy
# screen: the driver's own times are 0.7 ms off at most, plain arrivals 3 / 30 ms, median / 99 %).


DRIFT = 1e-4
"""How much faster than the piano's our clock may run: 100 parts in a million, twice what quartz
clocks are apart. The stamp may slide later by so much, and the next prompt arrival holds it."""

BREAK_S = 0.25
"""An arrival later than this after its reckoned time is not lateness: the machine slept, or the
driver lost count. Then the arrival is believed."""


class Stamper:
    """Gives each message of one port its time, in seconds on the arrivals' clock.

    Thread-safe: no; it belongs to the thread that reads the port.
    """

    def __init__(self) -> None:
        self._previous_s: float | None = None

    def stamp(self, arrived_s: float, delta_s: float, empty_s: float = -inf) -> float:
        """When the message was struck: not after it arrived, nor before the port was last empty.

        ``delta_s`` is the driver's time since the message before it (anything for the first one);
        ``empty_s`` when nothing waited in the port, last, as far as that is known.
        Every message of the port must pass through here, also those that are then dropped.
        """
        at_s = min(max(self._reckon(arrived_s, delta_s, empty_s), empty_s), arrived_s)
        self._previous_s = at_s
        return at_s

    def _reckon(self, arrived_s: float, delta_s: float, empty_s: float) -> float:
        """The driver's word for it; the arrival where the driver can't be believed."""
        if self._previous_s is None:
            # Nothing is known of a first one but its bounds: the middle is half as wrong at most.
            reckoned_s = (empty_s + arrived_s) / 2
        else:
            reckoned_s = self._previous_s + delta_s * (1 + DRIFT)
        return reckoned_s if arrived_s - reckoned_s < BREAK_S else arrived_s


POLL_S = 0.0005
"""How often an open port is read: twice while a note takes its way through a MIDI cable (0.96 ms).
A whole millisecond would save one hundredth of a processor and show each note 0.25 ms later."""

LOOK_S = 0.1
"""How often the names are looked at: rtmidi says nothing when the other side goes away."""

HELD_S = 0.1
"""A key's time that is more uncertain than this says nothing about its rhythm: a sixteenth note at
120 quarters a minute lasts 125 ms. Our choice."""

DEAF = (
    "An error of mine keeps me from hearing the piano: leave Keyhole and start it again; nothing "
    "is lost."
)
"""What is said where listening itself broke down."""

Post = Callable[[MidiEvent], None]

Watch = Callable[[int, tuple[int, ...], float], None]
"""Sees every message that is not our own, as it arrives: status, data, time (s)."""


class _OpenedPort:
    """One opened port and all that belongs to this opening of it."""

    def __init__(self, name: str, port: InPort, own: OwnSound, watch: Watch) -> None:
        self.name, self.port, self._own, self._watch = name, port, own, watch
        self.silent = False
        self.sensing = Sensing()
        self.empty_s = -inf
        """When nothing waited in it, last."""
        self._stamped_s = -inf
        """The time of the last message."""
        self._stamper, self._splitter, self._keys = Stamper(), Splitter(), KeyReader()

    def take(
        self, stream: Sequence[int], delta_s: float, arrived_s: float
    ) -> list[KeyEvent | ButtonDown]:
        """What these bytes mean for keys and pedals.

        Keys that were held back behind an unended system exclusive message come all at once. Where
        that was for long nobody knows when they were struck, and they are not handed on.
        """
        at_s = self._stamper.stamp(arrived_s, delta_s, self.empty_s)
        held_s, self._stamped_s = at_s - self._stamped_s, at_s
        if not stream:
            return []
        messages = self._splitter.feed(stream)
        sensing = any(message.status == ACTIVE_SENSING for message in messages)
        self.sensing.note_message(arrived_s, sensing=sensing)
        theirs = [message for message in messages if not self._is_own(message, at_s)]
        for message in theirs:
            self._watch(message.status, message.data, at_s)
        events = [event for message in theirs for event in self._keys.read(message, at_s)]
        was_held = stream[0] == EXCLUSIVE and stream[-1] == EXCLUSIVE_END
        if was_held and held_s > HELD_S:
            return [event for event in events if not isinstance(event, KeyDown)]
        return events

    def _is_own(self, message: Message, at_s: float) -> bool:
        return len(message.data) == 2 and self._own.is_own((message.status, *message.data), at_s)


class Listener:
    """Finds the piano, reads it, notices when it goes and when it comes back.

    ``step`` does one round and is all that the thread calls, so tests need no thread. ``post`` is
    called on the thread that steps.
    """

    def __init__(
        self,
        driver: Driver,
        wanted: str | None,
        post: Post,
        clock: Callable[[], float] = time.perf_counter,
        own: OwnSound | None = None,
        before: str | None = None,
    ) -> None:
        """``own`` knows what we send: where it comes back in it is not the player's.

        ``before`` is the piano that was heard last time: it is taken where it is there, and no
        other is wanted.
        """
        self._own = own or OwnSound()
        self.watch: Watch | None = None
        """Sees what arrives, on the thread that steps."""
        self._driver, self._wanted, self._post, self._clock = driver, wanted, post, clock
        self._hearing: _OpenedPort | None = None
        self._last = None if wanted else before
        self._others: tuple[str, ...] = ()
        self._trouble = ""
        self._look_at_s = 0.0

    @property
    def name(self) -> str | None:
        """The piano that is heard now, as shown to people."""
        hearing = self._hearing
        return name_port(hearing.name) if hearing and not hearing.silent else None

    @property
    def port_name(self) -> str | None:
        """The same as the MIDI system calls it."""
        hearing = self._hearing
        return hearing.name if hearing and not hearing.silent else None

    def step(self) -> float:
        """Read what waits, look for the piano when it is time; seconds until the next step."""
        now_s = self._clock()
        if self._hearing:
            self._read(self._hearing)
            self._check_sensing(self._hearing)
        if now_s >= self._look_at_s:
            self._look_at_s = now_s + LOOK_S
            self._look()
        return POLL_S if self._hearing else LOOK_S

    def give_up(self) -> None:
        """Say that nothing is heard any more, after an error of our own."""
        self._post(PianoLost(self.name or "", DEAF))

    def close(self) -> None:
        """Let go of the port, saying nothing."""
        if self._hearing:
            self._hearing.port.close()
            self._hearing = None

    def _read(self, hearing: _OpenedPort) -> None:
        waiting, looked_s = [], self._clock()
        while (got := hearing.port.get_message()) is not None:
            looked_s = self._clock()
            waiting.append((got[0], got[1], looked_s))
        # Posted when all is read: the first one would set the screen going before a chord's others.
        for stream, delta_s, arrived_s in waiting:
            if hearing.silent and stream:
                self._set_silent(hearing, False)
            for event in hearing.take(stream, delta_s, arrived_s):
                self._post(event)
        hearing.empty_s = looked_s

    def _check_sensing(self, hearing: _OpenedPort) -> None:
        if not hearing.silent and hearing.sensing.is_lost(self._clock()):
            self._set_silent(hearing, True)

    def _set_silent(self, hearing: _OpenedPort, silent: bool) -> None:
        hearing.silent = silent
        self._post((PianoLost if silent else PianoFound)(name_port(hearing.name)))

    def _look(self) -> None:
        names = self._driver.names_in()
        if self._hearing and self._hearing.name not in names:
            self._lose(self._hearing)
        if self._hearing is None:
            self._find(names)
        if self._hearing is None:
            self._say_trouble()
        else:
            self._say_others(self._hearing.name, names)

    def _lose(self, hearing: _OpenedPort) -> None:
        self._read(hearing)
        hearing.port.close()
        self._hearing = None
        if not hearing.silent:
            self._trouble = self._driver.trouble()
            self._post(PianoLost(name_port(hearing.name), self._trouble))

    def _say_trouble(self) -> None:
        """Say it where the MIDI system has gone, or is back without the piano."""
        trouble = self._driver.trouble()
        if trouble != self._trouble:
            self._trouble = trouble
            self._post(PianoLost(name_port(self._last or ""), trouble))

    def _say_others(self, heard: str, names: tuple[str, ...]) -> None:
        there = others(names, heard)
        if there != self._others:
            self._others = there
            self._post(OtherPianos(name_port(heard), there))

    def _open(self, name: str, port: InPort) -> _OpenedPort:
        def watch(status: int, data: tuple[int, ...], at_s: float) -> None:
            if watching := self.watch:
                watching(status, data, at_s)

        return _OpenedPort(name, port, self._own, watch)

    def _find(self, names: tuple[str, ...]) -> None:
        name = (self._last and choose(names, self._last)) or choose(names, self._wanted)
        port = self._driver.open_in(name) if name else None
        if name and port:
            self._hearing, self._last, self._trouble = self._open(name, port), name, ""
            self._post(PianoFound(name_port(name)))
