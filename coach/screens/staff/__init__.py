"""The staff in character cells: computed here, as plain data, and only shown by the widgets."""

from coach.score.notation import Counts
from coach.screens.staff.engraved import (
    SIZES,
    EngravedSheet,
    PagePlan,
    PlacedPicture,
    lay_out_pictures,
    pages_at_first,
    pages_instead,
    picture_box,
    plan_pages,
)
from coach.screens.staff.glyphs import ASCII, UNICODE, Glyphs
from coach.screens.staff.layout import WindowLayout
from coach.screens.staff.page import BLANK, LOOKS, Cell, MarkedPage, Sheet
from coach.screens.staff.rows import FORMS

__all__ = [
    "ASCII",
    "BLANK",
    "FORMS",
    "LOOKS",
    "SIZES",
    "UNICODE",
    "Cell",
    "Counts",
    "EngravedSheet",
    "Glyphs",
    "MarkedPage",
    "PagePlan",
    "PlacedPicture",
    "Sheet",
    "WindowLayout",
    "lay_out_pictures",
    "pages_at_first",
    "pages_instead",
    "picture_box",
    "plan_pages",
]
