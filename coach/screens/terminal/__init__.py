"""The terminal below Textual: painting single cells, plain letters."""

from coach.screens.terminal.ascii_fallback import PrintableOnly, as_shown
from coach.screens.terminal.painter import CellPainter, paint_now

__all__ = ["CellPainter", "PrintableOnly", "as_shown", "paint_now"]
