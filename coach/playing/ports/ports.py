"""The piano's ports: what is there, which is the piano, and listening to it.

A piano may come and go. From its port's bytes come stamped events: one small thread reads the port
every half millisecond. rtmidi could call us back instead, sooner by half a millisecond, but its own
thread would then wait for Python's lock before it takes the next message's time; read like this the
stamps are immune to a busy screen.
"""

from __future__ import annotations

import os
import re
import sys
import threading
import time
import traceback
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
from coach.playing.ports.driver import Driver, InPort, RtMidiDriver
from coach.playing.ports.own_sound import OwnSound
from coach.score.words import printable

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


class Ports:
    """The machine's MIDI ports.

    Thread-safe: no; use it from one thread. Events are posted from another, the MIDI thread.

    Raises PortsUnavailable, with a sentence for the pianist, where there is no MIDI at all.
    """

    def __init__(self, api: str | None = None, *, driver: Driver | None = None) -> None:
        self._driver: Driver = driver or RtMidiDriver(api)
        self._listener: Listener | None = None
        self._thread: threading.Thread | None = None
        self._stop = threading.Event()
        self._watch: Watch | None = None
        self.own = OwnSound()
        """What we send; whoever sends says it there, so that it is not taken for the player's."""

    def names_in(self) -> tuple[str, ...]:
        """Ports that can be listened to, as shown to people."""
        return name_ports(self._driver.names_in())

    def names_out(self) -> tuple[str, ...]:
        """Ports that can be sent to, as shown to people."""
        return name_ports(self._driver.names_out())

    @property
    def trouble(self) -> str:
        """A sentence that says what to do where the MIDI system is not there; else ""."""
        return self._driver.trouble()

    @property
    def piano(self) -> str | None:
        """The piano that is heard now, or None. Thread-safe: yes."""
        return self._listener.name if self._listener else None

    def listen(self, wanted: str | None, post: Post, before: str | None = None) -> None:
        """Listen from now on, and for as long as it takes, to the best port.

        ``wanted`` is a port's name or part of it; without it the one that was heard ``before``, in
        another evening, where it is there, else the likeliest port is taken. ``post`` gets every
        event, on the MIDI thread: it must only hand them on. ``PianoFound`` comes whenever the
        piano is there (also at the start), ``PianoLost`` within a second of its going.
        """
        self._end_listening()
        # Python leaves a thread that computes alone for 5 ms; the port is to be read sooner.
        sys.setswitchinterval(min(sys.getswitchinterval(), POLL_S))
        self._listener = Listener(self._driver, wanted, post, own=self.own, before=before)
        self._listener.watch = self._watch
        self._stop.clear()
        self._thread = threading.Thread(
            target=self._run, args=(self._listener,), name="keyhole-midi", daemon=True
        )
        self._thread.start()

    def watch(self, watch: Watch | None) -> None:
        """Have every message that arrives seen, on the MIDI thread; None: no more."""
        self._watch = watch
        if self._listener:
            self._listener.watch = watch

    @property
    def api(self) -> str:
        """The MIDI system's name, by which another process finds the same one."""
        return self._driver.api

    def name_out(self, wanted: str | None = None) -> str | None:
        """The port to sound through: by part of its name, else the piano's own.

        None where the piano takes nothing, or there is none.
        """
        names = self._driver.names_out()
        piano = self._listener and self._listener.port_name
        return choose(names, wanted) if wanted else (piano and counterpart(names, piano)) or None

    def close(self) -> None:
        """Stop listening and let go of every port; nothing is posted any more."""
        self._end_listening()
        self._driver.close()

    def _end_listening(self) -> None:
        self._stop.set()
        if self._thread:
            self._thread.join()
        self._thread = self._listener = None

    def _run(self, listener: Listener) -> None:
        """Listen until it is enough. What should not happen is said: nobody plays unheard."""
        try:
            while not self._stop.is_set():
                time.sleep(listener.step())
        except Exception:  # whatever it is
            os.write(2, traceback.format_exc().encode())
            listener.give_up()
        finally:
            listener.close()


# Which port is the piano.

_LOOPS = ("through", "rtpmidi announce", "system:midi_")
"""Ports that no piano sits behind: loops of the system's own."""

BRIDGES = ("a2j", "Midi-Bridge")
"""Clients that only carry other programs' ports over to JACK (from memory)."""


def name_port(name: str) -> str:
    """A port's name without the numbers that ALSA adds, which change when it is plugged again.

    A port is called as another program or a device likes: only what can be seen is left of it.
    """
    return printable(re.sub(r"\s+\d+:\d+$", "", name))


def name_ports(names: Sequence[str]) -> tuple[str, ...]:
    """Ports as they are listed: two of the same name keep the numbers that tell them apart."""
    short = [name_port(name) for name in names]
    return tuple(
        printable(name) if short.count(one) > 1 else one
        for name, one in zip(names, short, strict=True)
    )


def choose(names: Sequence[str], wanted: str | None = None) -> str | None:
    """The port to use: the one called ``wanted``, else the first with it in its name.

    Letter case does not matter. A piano that was plugged again may have another number by now. With
    no wish, the first that is not a loop of the system's own. None where there is none to choose.
    """
    if not wanted:
        return next((name for name in names if not _is_loop(name)), None)
    part, alike = name_port(wanted).casefold(), _without_number(wanted)
    ways = (
        (name for name in names if name == wanted or printable(name) == wanted),
        (name for name in names if name_port(name).casefold() == part),
        (name for name in names if _without_number(name) == alike),
        (name for name in names if part in name_port(name).casefold()),
    )
    return next((name for way in ways for name in way), None)


def others(names: Sequence[str], heard: str) -> tuple[str, ...]:
    """What to ask for to hear the other pianos there, in place of the one that is heard.

    Another port of the same device is no other piano.
    """
    seen, found = {_device(heard)}, []
    for name in names:
        if not _is_loop(name) and (device := _device(name)) not in seen:
            seen.add(device)
            found.append(_shortest_wish(names, name))
    return tuple(found)


def counterpart(names_out: Sequence[str], piano: str) -> str | None:
    """The port that leads back to the piano which is heard on the port ``piano``.

    The same name; else the same device (the part before a colon, as ALSA and JACK write it). None
    where the piano takes nothing.
    """
    same = choose(names_out, piano)
    device = _without_number(piano).split(":")[0]
    alike = (name for name in names_out if _without_number(name).split(":")[0] == device)
    return same or next(alike, None)


def _without_number(name: str) -> str:
    """A port's name as it was before JACK told its client from others of the same name."""
    return re.sub(r"-\d\d(?=:)", "", name_port(name)).casefold()


def _device(name: str) -> str:
    """What a port is of: its client, with ALSA's number for it; behind a bridge what it names."""
    client, _, own = name.partition(":")
    if client in BRIDGES and own:
        return re.split(r" ?[:(\[]", own)[0].casefold()
    number = re.search(r"\s(\d+):\d+$", name)
    return f"{client.casefold()} {number[1] if number else ''}"


def _shortest_wish(names: Sequence[str], name: str) -> str:
    ways = (name_port(name).partition(":")[0], name_port(name), printable(name))
    return next((way for way in ways if way and choose(names, way) == name), ways[-1])


def _is_loop(name: str) -> bool:
    return any(loop in name.casefold() for loop in _LOOPS)
