"""The door to python-rtmidi: the machine's MIDI system, found, watched, and taken up again.

The rtmidi objects themselves are made in ``jack.py``.
"""

from __future__ import annotations

import importlib
import os
import sys
import threading
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any, Protocol

from coach.playing.ports.jack import CLIENT, Clients, Probe

# Which of the machine's MIDI systems is used, and what to do where there is none.


class PortsUnavailable(Exception):
    """There is no MIDI here; its text is one sentence that says what to do."""


def load_rtmidi() -> Any:
    """The rtmidi module, which needs a system library on Linux."""
    try:
        return importlib.import_module("rtmidi")
    except ImportError as error:
        raise PortsUnavailable(_cannot_load(str(error))) from error


def find_system(rtmidi: Any, wanted: str | None = None) -> tuple[int, bool]:
    """The first MIDI system that answers and has a port, else the first that answers; and True.

    ``wanted`` names one, as rtmidi does; so does the variable KEYHOLE_MIDI_API. It may be waited
    for: then it comes with False. Raises PortsUnavailable where none is named and none answers.
    """
    wanted = wanted or os.environ.get("KEYHOLE_MIDI_API", "")
    answering = None
    for api in _systems(rtmidi, wanted):
        try:
            client = rtmidi.MidiIn(api, CLIENT)
        except OSError:
            continue
        has_ports = client.get_port_count() > 0
        client.delete()
        if has_ports:
            return api, True
        answering = api if answering is None else answering
    if answering is not None:
        return answering, True
    if wanted:
        return rtmidi.get_compiled_api_by_name(wanted.strip().lower()), False
    raise PortsUnavailable(_no_system())


def _systems(rtmidi: Any, wanted: str) -> list[int]:
    if not wanted:
        return list(rtmidi.get_compiled_api())
    api = rtmidi.get_compiled_api_by_name(wanted.strip().lower())
    if api == rtmidi.API_UNSPECIFIED:
        known = ", ".join(map(rtmidi.get_api_name, rtmidi.get_compiled_api()))
        raise PortsUnavailable(
            f"KEYHOLE_MIDI_API is {wanted!r}, which is not here; choose from: {known}."
        )
    return [api]


def _cannot_load(why: str) -> str:
    if sys.platform == "linux" and "libasound" in why:
        return (
            "MIDI needs libasound.so.2: run 'sudo apt-get install libasound2' (Fedora: alsa-lib), "
            "then start Keyhole again."
        )
    return f"python-rtmidi does not load ({why}); run the set-up again to have a piano."


def _no_system() -> str:
    if sys.platform == "linux":
        return (
            "The MIDI system does not answer: run 'sudo modprobe snd-seq' or start JACK, then "
            "start Keyhole again."
        )
    return "The MIDI system does not answer; restart this machine to have a piano."


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

    @property
    def api(self) -> str:
        """The MIDI system's name."""

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
        self._rtmidi = load_rtmidi()
        self._lock = threading.Lock()
        self._api, answers = find_system(self._rtmidi, api)
        self._clients = Clients(self._rtmidi, self._api) if answers else None
        self._was_there = answers
        self._gone: Clients | None = None
        """Those of a system that carries nothing, until they are ended."""
        self._probe = Probe.of(self._api)
        self._closed = False

    @property
    def api(self) -> str:
        """The MIDI system's name, as rtmidi has it: another process finds the same one by it."""
        return str(self._rtmidi.get_api_name(self._api))

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
            if self._gone:
                self._gone.stop_asking()
            self._clients = None

    def _alive(self, *, now: bool = False) -> Clients | None:
        """Our clients; None while the system carries nothing.

        ``now``: also where it does not answer at once. That is no reason to call it gone: on a busy
        machine it is slow for a moment, and the next look finds it.
        """
        if self._clients is None:
            self._come_back()
        elif not self._clients.are_alive():
            self._clients.fall_silent()
            self._clients, self._gone = None, self._clients
            self._probe.stop()  # an answer from before would be none
        elif now and not self._clients.answer():
            return None
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


# Keeping what C libraries print off the screen.
#
# ALSA and JACK print to file descriptor 2, and the screen is drawn there too.


def divert_noise(log: Path | None = None) -> None:
    """Send what is written to descriptor 2 to ``log`` (else nowhere); ``sys.stderr`` still works.

    Call it once, first of all: before anything imports textual, which draws on ``__stderr__``, or
    rtmidi. Python's own errors and the screen go to a duplicate of the terminal's descriptor.
    """
    screen = os.fdopen(os.dup(2), "w", encoding="utf-8", errors="backslashreplace", buffering=1)
    target = os.open(log or os.devnull, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    os.dup2(target, 2)
    os.close(target)
    sys.stderr = sys.__stderr__ = screen  # type: ignore[misc]
