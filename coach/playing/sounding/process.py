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
"""

from __future__ import annotations

import gc
import json
import os
import signal
import sys
import threading
from collections.abc import Iterable
from contextlib import suppress
from typing import Any

from coach.playing.ports import Driver, OutPort, PortsUnavailable, RtMidiDriver, choose
from coach.playing.sounding.speaker import SPEAKER, SpeakerPort
from coach.playing.sounding.timed_sender import TimedSender

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
