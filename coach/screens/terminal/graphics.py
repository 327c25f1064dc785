"""Whether this terminal shows pictures, and how: asked before Textual takes it over.

All is asked in one breath, and the answer to the last question, which every terminal knows, says
that no more will come. A terminal that says nothing in time shows no pictures.

Asked for are, in this order, the colours of ink and ground (OSC 10 and 11), Kitty's graphics
protocol (https://sw.kovidgoyal.net/kitty/graphics-protocol/), the largest sixel picture
(XTSMGRAPHICS), the size of a cell in pixels (CSI 16 t), and what kind of terminal it is (primary
device attributes: a 4 among them means sixel). From xterm's control sequences
(https://invisible-island.net/xterm/ctlseqs/ctlseqs.html).
"""

from __future__ import annotations

import os
import re
import sys
import time
from contextlib import suppress
from dataclasses import dataclass
from enum import StrEnum

TIME_LIMIT_S = 1.0
"""How long the answers are waited for. Own choice: only a terminal that never answers is waited for
so long, and on a busy machine a fifth of a second was too short for one that does (seen)."""
QUESTIONS = (
    "\x1b]10;?\x1b\\\x1b]11;?\x1b\\"
    "\x1b_Gi=31,s=1,v=1,a=q,t=d,f=24;AAAA\x1b\\"
    "\x1b[?2;1;0S\x1b[16t\x1b[c"
)
_UNKNOWN_PX = 1000
"""The largest picture of a terminal that does not say; xterm's own limit unless it is told."""
_PLENTY_PX = 10_000
"""The largest picture where the protocol knows no bound. Own choice: twice the widest screen."""


class Protocol(StrEnum):
    """How a picture reaches the terminal."""

    SIXEL = "sixel"
    KITTY = "kitty"


@dataclass(frozen=True, slots=True)
class Graphics:
    """A terminal that shows pictures."""

    protocol: Protocol
    cell_width_px: int
    cell_height_px: int
    most_width_px: int
    most_height_px: int
    ink: str = "#d0d0d0"
    """The terminal's own foreground, ``#rrggbb``."""
    ground: str = "#000000"


def ask_terminal(time_limit_s: float = TIME_LIMIT_S) -> Graphics | None:
    """What this terminal can show; None where it shows no pictures, or is none."""
    streams = (sys.__stdin__, sys.__stderr__)
    if not all(stream and stream.isatty() for stream in streams) or sys.platform == "win32":
        return None
    assert sys.__stdin__
    assert sys.__stderr__
    try:
        answers = _converse(sys.__stdin__.fileno(), sys.__stderr__.fileno(), time_limit_s)
    except OSError:
        return None
    return read_answers(answers, _cell_by_window(sys.__stderr__.fileno()))


def _cell_by_window(terminal: int) -> tuple[int, int] | None:
    """A cell's width and height by the window's size, where the system knows that in pixels."""
    import fcntl
    import struct
    import termios

    try:
        answers = fcntl.ioctl(terminal, termios.TIOCGWINSZ, b"\0" * 8)
    except OSError:
        return None
    rows, columns, width, height = struct.unpack("HHHH", answers)
    return (width // columns, height // rows) if rows and columns and width and height else None


_COLOUR = re.compile(r"\x1b\](1[01]);rgb:([0-9a-fA-F]+)/([0-9a-fA-F]+)/([0-9a-fA-F]+)")
_KITTY = re.compile(r"\x1b_Gi=31;OK\x1b\\")
_LARGEST = re.compile(r"\x1b\[\?2;0;(\d+);(\d+)S")
_CELL = re.compile(r"\x1b\[6;(\d+);(\d+)t")
_KIND = re.compile(r"\x1b\[\?([\d;]*)c")


def read_answers(answers: str, cell: tuple[int, int] | None = None) -> Graphics | None:
    """What the answers to :data:`QUESTIONS` say; ``cell`` is a cell's width and height in pixels,
    where the terminal does not tell it."""
    kind, said = _KIND.search(answers), _CELL.search(answers)
    if said and int(said[1]) and int(said[2]):
        cell = int(said[2]), int(said[1])
    if cell is None:
        return None
    is_sixel = kind is not None and "4" in kind[1].split(";")
    if not is_sixel and not _KITTY.search(answers):
        return None
    protocol = Protocol.KITTY if _KITTY.search(answers) else Protocol.SIXEL
    largest = _LARGEST.search(answers)
    most = (int(largest[1]), int(largest[2])) if largest else (_UNKNOWN_PX, _UNKNOWN_PX)
    if protocol is Protocol.KITTY:
        most = (_PLENTY_PX, _PLENTY_PX)
    colours = {found[1]: _hex(*found.groups()[1:]) for found in _COLOUR.finditer(answers)}
    return Graphics(
        protocol,
        *cell,
        *most,
        ink=colours.get("10", "#d0d0d0"),
        ground=colours.get("11", "#000000"),
    )


def _hex(*parts: str) -> str:
    """A colour of one to four hexadecimal digits a part as ``#rrggbb``."""
    return "#" + "".join(
        f"{round(255 * int(part, 16) / (16 ** len(part) - 1)):02x}" for part in parts
    )


def _converse(from_terminal: int, to_terminal: int, time_limit_s: float) -> str:
    """Ask, and read until the last answer or the time is over; nothing is echoed meanwhile."""
    import termios
    import tty

    before = termios.tcgetattr(from_terminal)
    answers = ""
    try:
        tty.setcbreak(from_terminal, termios.TCSANOW)
        os.write(to_terminal, QUESTIONS.encode())
        ends_s = time.monotonic() + time_limit_s
        while not _KIND.search(answers) and (left_s := ends_s - time.monotonic()) > 0:
            answers += _read(from_terminal, left_s)
    finally:
        with suppress(termios.error):
            termios.tcsetattr(from_terminal, termios.TCSANOW, before)
    return answers


def _read(descriptor: int, wait_s: float) -> str:
    import select

    if not select.select([descriptor], [], [], wait_s)[0]:
        return ""
    return os.read(descriptor, 4096).decode("latin-1")
