"""The staff in character cells: computed here, as plain data, and only shown by the widgets."""

from coach.screens.staff.content import Counts
from coach.screens.staff.glyphs import ASCII, UNICODE, Glyphs
from coach.screens.staff.layout import Manuscript
from coach.screens.staff.page import BLANK, LOOKS, Cell, MarkedPage, Sheet

__all__ = [
    "ASCII",
    "BLANK",
    "LOOKS",
    "UNICODE",
    "Cell",
    "Counts",
    "Glyphs",
    "Manuscript",
    "MarkedPage",
    "Sheet",
]
