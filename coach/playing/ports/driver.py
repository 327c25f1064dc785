"""The door to python-rtmidi: the machine's MIDI system, found, watched, and taken up again.

The rtmidi objects themselves are made in ``clients.py``.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from contextlib import suppress
from typing import Protocol

from coach.playing.ports.jack_clients import Clients
from coach.playing.ports.probe import Probe
from coach.playing.ports.systems import find_system, load

GONE = (
    "JACK has stopped and I hear nothing: start it again, and I go on by myself; nothing is lost."
)
"""What is said while a JACK server is away."""
NOT_YET = "{name} does not answer yet: start it, and I find it by myself."
"""What is said while the one that was asked for has not been there yet."""


class InPort(Protocol):
    """An opened input."""

    def get_message(self) -> tuple[Sequence[int], float] | None:
        """The next waiting message and the seconds since the one before it, or None.

        An empty one only tells the time.
        """

    def close(self) -> None:
        """Let go of it; may be called on a port whose other side is gone."""


class OutPort(Protocol):
    """An opened output."""

    def send(self, message: Sequence[int]) -> None:
        """Send one whole MIDI message. Raises OSError where the other side can't take it."""

    def close(self) -> None:
        """Let go of it."""


class Driver(Protocol):
    """What of the machine's MIDI we use."""

    def names_in(self) -> tuple[str, ...]:
        """Ports that can be listened to."""

    def names_out(self) -> tuple[str, ...]:
        """Ports that can be sent to."""

    def open_in(self, name: str) -> InPort | None:
        """Listen to a port; None where it is gone or taken."""

    def open_out(self, name: str) -> OutPort | None:
        """Send to a port; None where it is gone or taken."""

    def trouble(self) -> str:
        """A sentence that says what to do where the MIDI system itself has gone; else ""."""

    def close(self) -> None:
        """Let go of everything."""


class RtMidiDriver:
    """python-rtmidi, through one of the machine's MIDI systems.

    A JACK server that goes away is noticed within two seconds: then no names are listed, ports
    that were open are silent, and ``trouble`` says what to do. It is taken up again when it is
    back.

    Thread-safe: yes. Its calls take microseconds, but for opening a port (some 15 ms) and
    for ending the click's output at a dead server (a second).

    One that was asked for by name and is not there yet is waited for in the same way.

    Raises PortsUnavailable where python-rtmidi does not load or no MIDI system answers.
    """

    def __init__(self, api: str | None = None) -> None:
        self._rtmidi = load()
        self._lock = threading.Lock()
        self._api, answers = find_system(self._rtmidi, api)
        self._clients = Clients(self._rtmidi, self._api) if answers else None
        self._was_there = answers
        self._gone: Clients | None = None
        """Those of a system that carries nothing, until they are ended."""
        self._probe = Probe.of(self._api)
        self._closed = False

    def names_in(self) -> tuple[str, ...]:
        """Ports that can be listened to; our own are left out."""
        with self._lock:
            clients = self._alive()
            return clients.names_in() if clients else ()

    def names_out(self) -> tuple[str, ...]:
        """Ports that can be sent to; our own are left out."""
        with self._lock:
            clients = self._alive()
            return clients.names_out() if clients else ()

    def open_in(self, name: str) -> InPort | None:
        """Listen to a port; None where it is gone or taken."""
        with self._lock:
            clients = self._alive(now=True)
            return clients.open_in(name) if clients else None

    def open_out(self, name: str) -> OutPort | None:
        """Send to a port; None where it is gone or taken."""
        with self._lock:
            clients = self._alive(now=True)
            return clients.open_out(name) if clients else None

    def trouble(self) -> str:
        """A sentence where the MIDI system has gone; "" where it is there."""
        if self._clients:
            return ""
        if self._was_there:
            return GONE
        return NOT_YET.format(name=self._rtmidi.get_api_name(self._api).upper())

    def close(self) -> None:
        """Let go of everything, opened ports too."""
        with self._lock:
            self._closed = True
            self._probe.stop()
            if self._clients:
                self._clients.end()
            self._clients = None

    def _alive(self, *, now: bool = False) -> Clients | None:
        """Our clients; None while the system carries nothing."""
        if self._clients is None:
            self._come_back()
        elif not self._clients.are_alive(now=now):
            self._clients.fall_silent()
            self._clients, self._gone = None, self._clients
            self._probe.stop()  # an answer from before would be none
        return self._clients

    def _come_back(self) -> None:
        """Go on with a system that only hung; begin anew with one that has died and is back.

        All clients of one that has died are ended before new ones are made. Where the system hangs
        that would take for ever, and nothing else would run: so a process of its own asks before.
        """
        if self._gone and self._gone.came_back():
            self._clients, self._gone = self._gone, None
            self._clients.rise()
        elif not self._closed and (there := self._probe.answer()) is not None:
            if self._gone:
                self._gone.end()
                self._gone = None
            elif there:
                with suppress(OSError):
                    self._clients = Clients(self._rtmidi, self._api)
                    self._was_there = True
