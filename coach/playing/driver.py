"""The door to python-rtmidi: the machine's MIDI system, found, watched, and taken up again.

The rtmidi objects themselves are made in ``clients.py``.
"""

from __future__ import annotations

import importlib
import os
import sys
import threading
from collections.abc import Sequence
from contextlib import suppress
from typing import Any, Protocol

from coach.playing.clients import CLIENT, Clients
from coach.playing.probe import Probe

GONE = (
    "JACK has stopped and I hear nothing: start it again, and I go on by myself; nothing is lost."
)
"""What is said while a JACK server is away."""


class PortsUnavailable(Exception):
    """There is no MIDI here; its text is one sentence that says what to do."""


class InPort(Protocol):
    """An opened input."""

    def get_message(self) -> tuple[Sequence[int], float] | None:
        """The next waiting message and the seconds since the one before it, or None."""

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
    for ending those of a dead server (a second).

    Raises PortsUnavailable where python-rtmidi does not load or no MIDI system answers.
    """

    def __init__(self, api: str | None = None) -> None:
        self._rtmidi = _load()
        self._lock = threading.Lock()
        self._api = self._find_api(api or os.environ.get("KEYHOLE_MIDI_API", ""))
        self._clients: Clients | None = Clients(self._rtmidi, self._api)
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
        return "" if self._clients else GONE

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

        All clients of one that has died are ended before new ones are made. That takes a second in
        which nothing else runs, and for ever where it hangs: so a process of its own asks before.
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

    def _find_api(self, wanted: str) -> int:
        """The first MIDI system that answers and has a port; else the first that answers."""
        answering = None
        for api in self._apis(wanted):
            try:
                client = self._rtmidi.MidiIn(api, CLIENT)
            except OSError:
                continue
            has_ports = client.get_port_count() > 0
            client.delete()
            if has_ports:
                return api
            answering = api if answering is None else answering
        if answering is None:
            raise PortsUnavailable(_no_system(wanted))
        return answering

    def _apis(self, wanted: str) -> list[int]:
        if not wanted:
            return list(self._rtmidi.get_compiled_api())
        api = self._rtmidi.get_compiled_api_by_name(wanted)
        if api == self._rtmidi.API_UNSPECIFIED:
            known = ", ".join(map(self._rtmidi.get_api_name, self._rtmidi.get_compiled_api()))
            raise PortsUnavailable(
                f"KEYHOLE_MIDI_API is {wanted!r}, which is not here; choose from: {known}."
            )
        return [api]


def _load() -> Any:
    """The rtmidi module, which needs a system library on Linux."""
    try:
        return importlib.import_module("rtmidi")
    except ImportError as error:
        raise PortsUnavailable(_cannot_load(str(error))) from error


def _cannot_load(why: str) -> str:
    if sys.platform == "linux" and "libasound" in why:
        return (
            "MIDI needs the system's libasound.so.2: install it (Debian, Ubuntu: sudo apt-get "
            "install libasound2; Fedora: sudo dnf install alsa-lib) and start Keyhole again."
        )
    return f"python-rtmidi does not load ({why}); run the set-up again to have a piano."


def _no_system(wanted: str) -> str:
    if wanted == "jack":
        return "No JACK server answers; start JACK, then start Keyhole again to have a piano."
    if sys.platform == "linux":
        return (
            "This machine's MIDI system does not answer: load it with 'sudo modprobe snd-seq' "
            "or start JACK, then start Keyhole again to have a piano."
        )
    return "This machine's MIDI system does not answer; restart it to have a piano."
