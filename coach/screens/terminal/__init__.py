"""The terminal below Textual: painting single cells, plain letters."""

from coach.screens.terminal.ascii_fallback import PrintableOnly, as_shown
from coach.screens.terminal.graphics import Graphics, Protocol, ask_terminal
from coach.screens.terminal.painter import CellPainter, paint_now

__all__ = [
    "CellPainter",
    "Graphics",
    "PrintableOnly",
    "Protocol",
    "as_shown",
    "ask_terminal",
    "paint_now",
]
