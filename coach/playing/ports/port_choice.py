"""Which port is the piano: chosen by part of its name, or the likeliest one."""

from __future__ import annotations

import re
from collections.abc import Sequence

from coach.score.words import printable

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
