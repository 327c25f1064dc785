"""The door to python-rtmidi: names of ports, and ports opened by name.

rtmidi hands over each message with the driver's own time since the one before it; that is why the
ports are opened here and not through mido, which throws it away. Every rtmidi object is deleted
explicitly, because letting go of it alone leaks a thread and handles.
"""

from __future__ import annotations

import importlib
import os
import re
import sys
import threading
from collections.abc import Sequence
from typing import Any, Protocol

CLIENT = "Keyhole"
"""Our name among the machine's MIDI programs."""

QUEUE_MESSAGES = 8192
"""How many messages may wait for us: a flood of eight seconds at a MIDI cable's full speed."""


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

    def close(self) -> None:
        """Let go of everything."""


class _Port:
    """One opened rtmidi client, in or out."""

    def __init__(self, client: Any) -> None:
        self._client = client

    def get_message(self) -> tuple[Sequence[int], float] | None:
        message: tuple[Sequence[int], float] | None = self._client.get_message()
        return message

    def send(self, message: Sequence[int]) -> None:
        self._client.send_message(message)

    def close(self) -> None:
        self._client.close_port()
        self._client.delete()


class RtMidiDriver:
    """python-rtmidi, through one of the machine's MIDI systems.

    Thread-safe: yes, and its calls take microseconds, but for opening a port (some 15 ms). One
    client is kept for looking at the names.

    Raises PortsUnavailable where python-rtmidi does not load or no MIDI system answers.
    """

    def __init__(self, api: str | None = None) -> None:
        self._rtmidi = _load()
        self._lock = threading.Lock()
        self._api = self._find_api(api or os.environ.get("KEYHOLE_MIDI_API", ""))
        self._watch_in = self._rtmidi.MidiIn(self._api, CLIENT)
        self._watch_out = self._rtmidi.MidiOut(self._api, CLIENT)

    def names_in(self) -> tuple[str, ...]:
        """Ports that can be listened to; our own are left out."""
        with self._lock:
            return _others(self._watch_in.get_ports())

    def names_out(self) -> tuple[str, ...]:
        """Ports that can be sent to; our own are left out."""
        with self._lock:
            return _others(self._watch_out.get_ports())

    def open_in(self, name: str) -> InPort | None:
        """Listen to a port; None where it is gone or taken."""
        client = self._rtmidi.MidiIn(self._api, CLIENT, queue_size_limit=QUEUE_MESSAGES)
        # Nothing may be ignored: on JACK the time of ignored messages vanishes from the sum.
        client.ignore_types(sysex=False, timing=False, active_sense=False)
        return self._open(client, name)

    def open_out(self, name: str) -> OutPort | None:
        """Send to a port; None where it is gone or taken."""
        return self._open(self._rtmidi.MidiOut(self._api, CLIENT), name)

    def close(self) -> None:
        """Let go of the client that looks at the names; opened ports are closed on their own."""
        with self._lock:
            self._watch_in.delete()
            self._watch_out.delete()

    def _open(self, client: Any, name: str) -> _Port | None:
        try:
            client.open_port(client.get_ports().index(name), CLIENT)
        except (ValueError, OSError):
            client.delete()
            return None
        return _Port(client)

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


def _others(names: Sequence[str]) -> tuple[str, ...]:
    return tuple(name for name in names if not re.match(rf"{CLIENT}\b", name))
