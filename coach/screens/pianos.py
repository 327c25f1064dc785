"""What a piano is called: its own name, out of the name that its port has."""

from __future__ import annotations

import re
import shlex
from collections.abc import Sequence

from coach.playing.choosing import BRIDGES

_ALSA_ADDRESS = re.compile(r" \d+:\d+$")
_PORT = re.compile(r"(midi|out|output|capture|port|[\W_\d])*", re.IGNORECASE)


def piano_words(port: str) -> str:
    """A piano's name out of its port's: ``Stage piano`` of ``Stage piano:out``.

    Ports are called ``client:port``, by ALSA with an address after it; where the port only says
    that it is one, or says the client's name again, the client's name is the piano's.
    """
    client, colon, own = _ALSA_ADDRESS.sub("", port).partition(":")
    if client in BRIDGES and own:
        return re.split(r" ?[:(\[]", own)[0] or port
    if colon and (own.startswith(client) or _PORT.fullmatch(own)):
        return client or port
    return _ALSA_ADDRESS.sub("", port)


def others_words(heard: str, others: Sequence[str]) -> str:
    """Which of several pianos is heard, and how another is chosen; "" where there is but one.

    ``others`` as :class:`~coach.playing.events.OtherPianos` has them.
    """
    if not others:
        return ""
    quoted = shlex.quote(others[0])
    names = " and ".join(dict.fromkeys(piano_words(other) for other in others))
    are, there = ("is", "it") if len(others) == 1 else ("are", "one of them")
    return (
        f"I hear {piano_words(heard)}. {names} {are} connected too: to play on {there}, leave and "
        f"start again with --port {quoted}."
    )
