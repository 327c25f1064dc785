"""A line in the terminal that says what takes so long, until it is over."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TextIO

from coach.score.words import printable

_WIPED = "\r\x1b[K"
"""Back to the line's start, and erase it (ECMA-48: EL)."""


@contextmanager
def waiting_line(terminal: TextIO | None = None) -> Iterator[Callable[[str], None]]:
    """Gives what writes the line, in place of the last one; wipes it out at the end.

    Writes nothing where no terminal is looked at. ``terminal``: stderr unless given.
    """
    out = terminal or sys.stderr
    written = False

    def write(text: str) -> None:
        nonlocal written
        if out.isatty():
            written = True
            print(f"{_WIPED}{printable(text)}", end="", file=out, flush=True)

    try:
        yield write
    finally:
        if written:
            print(_WIPED, end="", file=out, flush=True)
