"""Which of the machine's MIDI systems is used, and what to do where there is none."""

from __future__ import annotations

import importlib
import os
import sys
from typing import Any

from coach.playing.ports.jack_clients import CLIENT


class PortsUnavailable(Exception):
    """There is no MIDI here; its text is one sentence that says what to do."""


def load() -> Any:
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
            "MIDI needs the system's libasound.so.2: install it (Debian, Ubuntu: sudo apt-get "
            "install libasound2; Fedora: sudo dnf install alsa-lib) and start Keyhole again."
        )
    return f"python-rtmidi does not load ({why}); run the set-up again to have a piano."


def _no_system() -> str:
    if sys.platform == "linux":
        return (
            "This machine's MIDI system does not answer: load it with 'sudo modprobe snd-seq' "
            "or start JACK, then start Keyhole again to have a piano."
        )
    return "This machine's MIDI system does not answer; restart it to have a piano."
