"""The staff in character cells: computed here, as plain data, and only shown by the widgets."""

from coach.score.notation import Counts
from coach.screens.staff.glyphs import ASCII, UNICODE, Glyphs
from coach.screens.staff.layout import WindowLayout
from coach.screens.staff.page import BLANK, LOOKS, Cell, MarkedPage, Sheet

__all__ = [
    "ASCII",
    "BLANK",
    "LOOKS",
    "UNICODE",
    "Cell",
    "Counts",
    "Glyphs",
    "MarkedPage",
    "Sheet",
    "WindowLayout",
]
