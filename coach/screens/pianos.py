"""What a piano is called: its own name, out of the name that its port has."""

from __future__ import annotations

import re

_BRIDGES = ("a2j", "Midi-Bridge")
"""Clients that only carry other programs' ports over to JACK (from memory)."""
_ALSA_ADDRESS = re.compile(r" \d+:\d+$")
_PORT = re.compile(r"(midi|out|output|capture|port|[\W_\d])*", re.IGNORECASE)


def piano_words(port: str) -> str:
    """A piano's name out of its port's: ``Stage piano`` of ``Stage piano:out``.

    Ports are called ``client:port``, by ALSA with an address after it; where the port only says
    that it is one, or says the client's name again, the client's name is the piano's.
    """
    client, colon, own = _ALSA_ADDRESS.sub("", port).partition(":")
    if client in _BRIDGES and own:
        return re.split(r" ?[:(\[]", own)[0] or port
    if colon and (own.startswith(client) or _PORT.fullmatch(own)):
        return client or port
    return _ALSA_ADDRESS.sub("", port)
