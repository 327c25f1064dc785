"""The sounding process: all MIDI that we send leaves from here, at its time.

Run as ``python -m coach.playing.sounding.process API``. Orders come in on standard input, a line of
JSON each; the times in them are ``time.perf_counter()``, which all processes of a machine share.

``{"to": NAME}``
    Send to this port from now on; it is found again when it was away. One of them is the
    computer's speaker (:mod:`coach.playing.sounding.speaker`).
``{"play": [[AT_S, [BYTE, ...]], ...], "from": FROM_S}``
    Send these at their times, in place of any that wait; what sounds is let go. None: silence.
    Where ``from`` is a time, in place of those from then on; what sounds goes on.

When standard input ends, for whatever reason, ``kill -9`` of the program included, everything that
sounds is let go, the pedal is lifted, and the process ends.

rtmidi can't schedule, and a sleep of a given length drifts (130 ms in 15 s, measured), so one
thread sleeps until each message's own moment. Beside a busy screen even that is late by 1.4 to
16 ms, which is why it runs in a process of its own.
"""

from __future__ import annotations

import gc
import json
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from typing import Any

from coach.playing.click_schedule import Timed
from coach.playing.midi_events import ALL_NOTES_OFF, CONTROL, DAMPER, NOTE_OFF, NOTE_ON
from coach.playing.ports import ASK, Driver, OutPort, PortsUnavailable, RtMidiDriver, choose
from coach.playing.sounding.speaker import SPEAKER, SpeakerPort

# Sending each message when its time comes, and leaving nothing that sounds.

LATE_S = 0.05
"""A message this long past its time is left out when it is given: a beat too late is worse than
none. Own choice, because on its way here a list takes some milliseconds, seldom tens."""
_SPIN_S = 0.0003
"""The last stretch before a message's moment is not slept but waited through: a sleep wakes up to
0.2 ms late (measured)."""


class TimedSender:
    """Sends timed messages through one output, one list at a time.

    Thread-safe: yes. ``play`` returns at once. An output whose other side has gone takes the
    messages and nothing sounds.
    """

    def __init__(self, out: OutPort, clock: Callable[[], float] = time.perf_counter) -> None:
        self._out, self._clock = out, clock
        self._wake = threading.Condition()
        self._waiting: list[Timed] = []
        self._sounding: set[tuple[int, int]] = set()
        """Channel and key of every note that was begun and not ended."""
        self._channels: set[int] = set()
        """Those that anything was sent on."""
        self._pedalled: set[int] = set()
        """Those on which we hold the damper pedal."""
        self._closing = False
        self._thread = threading.Thread(target=self._run, name="keyhole-sender", daemon=True)
        self._thread.start()

    def play(self, messages: Sequence[Timed], from_s: float | None = None) -> None:
        """Send these from now on, in place of any that still wait; those past are left out.

        What sounds is let go of: no messages are silence. With ``from_s`` they take the place only
        of those that wait for then or later, and what sounds goes on.
        """
        earliest_s = self._clock() - LATE_S
        coming = [timed for timed in messages if timed[0] >= earliest_s]
        with self._wake:
            if from_s is None:
                self._end_notes()
            else:
                coming += [timed for timed in self._waiting if timed[0] < from_s]
            self._waiting = sorted(coming)
            self._wake.notify()

    def ask(self) -> None:
        """Send what tells whether anything that we send comes back; it makes no sound."""
        with self._wake:
            for message in ASK:
                self._send(message)

    def silence_every_channel(self) -> None:
        """All notes off and pedal up on all of them: for an output that was away meanwhile, for
        what it last heard may hang."""
        with self._wake:
            self._silence_channels(range(16))

    def close(self) -> None:
        """Silence, and let go of the output."""
        with self._wake:
            self._waiting, self._closing = [], True
            self._end_notes()
            self._silence_channels(sorted(self._channels))
            self._wake.notify()
        self._thread.join()
        self._out.close()

    def _run(self) -> None:
        with self._wake:
            while not self._closing:
                if not self._waiting:
                    self._wake.wait()
                elif (ahead_s := self._waiting[0][0] - self._clock()) > _SPIN_S:
                    self._wake.wait(ahead_s - _SPIN_S)
                elif ahead_s <= 0:
                    self._send(self._waiting.pop(0)[1])

    def _send(self, message: tuple[int, ...]) -> None:
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        if kind == NOTE_ON and message[2] > 0:
            self._sounding.add((channel, message[1]))
        elif kind in (NOTE_OFF, NOTE_ON):
            self._sounding.discard((channel, message[1]))
        elif kind == CONTROL and message[1] == DAMPER:
            (self._pedalled.add if message[2] else self._pedalled.discard)(channel)
        self._channels.add(channel)
        try:
            self._out.send(message)
        except OSError:  # unplugged: the listener tells the pianist
            self._waiting = []

    def _end_notes(self) -> None:
        for channel, key in sorted(self._sounding):
            self._send((NOTE_OFF | channel, key, 0))
        for channel in sorted(self._pedalled):
            self._send((CONTROL | channel, DAMPER, 0))

    def _silence_channels(self, channels: Iterable[int]) -> None:
        for channel in channels:
            self._send((CONTROL | channel, DAMPER, 0))
            self._send((CONTROL | channel, ALL_NOTES_OFF, 0))


# The process: its orders, and the port that it sends to.

LOOK_S = 0.2
"""How often it is looked whether the port is still there. Own choice, because a piano that is
plugged in again should be silenced within a second."""


class Outlet:
    """One port that may come and go, and what is sent through it.

    Thread-safe: yes: one thread gives orders while another looks whether the port is there.
    """

    def __init__(self, driver: Driver) -> None:
        self._driver = driver
        self._lock = threading.Lock()
        self._wanted: str | None = None
        self._reached: str | None = None
        self._sender: TimedSender | None = None
        self._was_reached = False

    def obey(self, order: dict[str, Any]) -> None:
        """Do what one line asks for."""
        if "to" in order:
            self._turn_to(order["to"])
        elif "play" in order:
            with self._lock:
                if self._sender:
                    messages = [(at_s, tuple(message)) for at_s, message in order["play"]]
                    self._sender.play(messages, order.get("from"))

    def look(self) -> None:
        """Let go of a port that has gone; take up the one that is wanted, and silence it."""
        with self._lock:
            names = (*self._driver.names_out(), SPEAKER)
            if self._sender and self._reached not in names:
                self._let_go()
            if self._sender is None and self._wanted is not None:
                self._take_up(choose(names, self._wanted))

    def close(self) -> None:
        """Leave nothing that sounds."""
        with self._lock:
            self._wanted = None
            self._let_go()

    def _turn_to(self, name: str) -> None:
        with self._lock:
            if name != self._wanted:
                self._let_go()
                self._wanted, self._was_reached = name, False
        self.look()

    def _take_up(self, name: str | None) -> None:
        out = self._open(name) if name else None
        if out is None:
            return
        self._sender, self._reached = TimedSender(out), name
        self._sender.ask()
        if self._was_reached:  # it went away while something may have sounded
            self._sender.silence_every_channel()
        self._was_reached = True

    def _open(self, name: str) -> OutPort | None:
        if name != SPEAKER:
            return self._driver.open_out(name)
        with suppress(OSError):
            return SpeakerPort()
        self._wanted = None  # there is none: asked for again, it is tried again
        return None

    def _let_go(self) -> None:
        if self._sender:
            self._sender.close()
            self._sender = self._reached = None


def run(driver: Driver, orders: Iterable[str]) -> None:
    """Obey until the orders end."""
    outlet, over = Outlet(driver), threading.Event()

    def look() -> None:
        while not over.wait(LOOK_S):
            outlet.look()

    looking = threading.Thread(target=look, name="keyhole-look", daemon=True)
    looking.start()
    try:
        for line in orders:
            outlet.obey(json.loads(line))
    except ValueError:  # the program was ended in the middle of a line
        pass
    finally:
        over.set()
        outlet.close()
        looking.join(1.0)


def be_punctual() -> None:
    """Ask the system to wake us before others, and Python not to collect garbage in between."""
    gc.freeze()
    gc.disable()
    sys.setswitchinterval(0.0005)
    if hasattr(os, "sched_setscheduler"):
        with suppress(OSError):  # only where the user may
            os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(1))


def main() -> None:
    """The process."""
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        if hasattr(signal, name):  # it ends with its input, after it has silenced the piano
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    try:
        driver = RtMidiDriver(sys.argv[1] or None)
    except PortsUnavailable:
        sys.exit(3)
    be_punctual()
    try:
        run(driver, sys.stdin)
    finally:
        driver.close()


if __name__ == "__main__":
    main()
