"""Which port is the piano: chosen by part of its name, or the likeliest one."""

from __future__ import annotations

import re
from collections.abc import Sequence

from coach.score.words import printable

_LOOPS = ("through", "rtpmidi announce", "system:midi_")
"""Ports that no piano sits behind: loops of the system's own."""


def shown(name: str) -> str:
    """A port's name without the numbers that ALSA adds, which change when it is plugged again.

    A port is called as another program or a device likes: only what can be seen is left of it.
    """
    return printable(re.sub(r"\s+\d+:\d+$", "", name))


def choose(names: Sequence[str], wanted: str | None = None) -> str | None:
    """The port to use: the one called ``wanted``, else the first with it in its name.

    Letter case does not matter. Without a wish, the first that is not a loop of the system's own.
    None where there is none to choose.
    """
    if not wanted:
        return next((name for name in names if not _is_loop(name)), None)
    part = shown(wanted).casefold()
    exact = (name for name in names if shown(name).casefold() == part)
    containing = (name for name in names if part in name.casefold())
    return next(exact, None) or next(containing, None)


def counterpart(names_out: Sequence[str], piano: str) -> str | None:
    """The port that leads back to the piano which is heard on the port ``piano``.

    The same name; else the same device (the part before a colon, as ALSA and JACK write it). None
    where the piano takes nothing.
    """
    same = choose(names_out, piano)
    device = shown(piano).split(":")[0].casefold()
    alike = (name for name in names_out if name.split(":")[0].casefold() == device)
    return same or next(alike, None)


def _is_loop(name: str) -> bool:
    return any(loop in name.casefold() for loop in _LOOPS)
