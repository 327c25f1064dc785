"""The door to the terminal: every line that a command says goes through here.

What is said may hold words from outside (a port's name, a file's, a title): no control character of
theirs reaches the terminal, which would obey it.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import TextIO

from coach.cli.errors import CannotDo
from coach.score.words import printable, printable_lines

NO_TERMINAL = (
    "This command shows a screen and reads keys: run it in a terminal, without <, > or | behind it."
)


def say(text: str) -> None:
    """Write lines to the standard output, safe for a terminal.

    Raises CannotDo where they can't be written; BrokenPipeError where nobody reads on.
    """
    _write(f"{printable_lines(text)}\n")


def draw(text: str) -> None:
    """Write our own drawing, with the escape sequences that it moves by; no words from outside."""
    _write(text)


def flush() -> None:
    """Write out whatever else was printed; raises as :func:`say` does."""
    _write("")


def _write(text: str) -> None:
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        raise CannotDo(
            f"The answer can't be written there ({error.strerror or error}); "
            f"send it to a terminal or another file."
        ) from None


def warn(text: str) -> None:
    """Write one line to the standard error, safe for a terminal; where that is shut, nowhere."""
    try:
        print(f"coach: {printable_lines(text)}", file=sys.stderr, flush=True)
    except OSError:
        _send_nowhere(sys.stderr)


def need_terminal() -> None:
    """Raise CannotDo where there is no terminal to draw on and to read keys from."""
    if not all(stream and stream.isatty() for stream in (sys.stdin, sys.stdout, sys.stderr)):
        raise CannotDo(NO_TERMINAL)


def open_what_is_shut() -> None:
    """Give each standard stream that was handed over shut a descriptor of its own.

    Else the next file that is opened takes its place: the record would get the descriptor that C
    libraries print their complaints to. Reading gives nothing, and writing an answer fails.
    """
    for descriptor, how in ((0, os.O_RDONLY), (1, os.O_RDONLY), (2, os.O_WRONLY)):
        try:
            os.fstat(descriptor)
        except OSError:
            os.open(os.devnull, how)  # takes the lowest that is free: this one
    if sys.stdin is None:
        sys.stdin = os.fdopen(0, encoding="utf-8", closefd=False)
    if sys.stdout is None:
        sys.stdout = os.fdopen(1, "w", encoding="utf-8", closefd=False)
    if sys.stderr is None:
        sys.stderr = os.fdopen(2, "w", encoding="utf-8", closefd=False)
    for stream in (sys.stdout, sys.stderr):
        if reconfigure := getattr(stream, "reconfigure", None):
            reconfigure(errors="backslashreplace")  # letters that the terminal's encoding lacks


def let_go_of_output() -> None:
    """Send what is still unwritten nowhere: Python tries once more at its end, and complains."""
    _send_nowhere(sys.stdout)


def _send_nowhere(stream: TextIO) -> None:
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)


# A line in the terminal that says what takes so long, until it is over.


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
