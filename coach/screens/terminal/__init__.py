"""The terminal below Textual: painting single cells, plain letters."""

from coach.screens.terminal.ascii_fallback import SeenOnly, as_shown
from coach.screens.terminal.cell_painter import CellPainter, paint_now

__all__ = ["CellPainter", "SeenOnly", "as_shown", "paint_now"]
