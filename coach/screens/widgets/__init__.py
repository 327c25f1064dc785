"""The widgets. They are thin: what they show is worked out elsewhere."""

from coach.screens.widgets.head import AssignmentLine, HelpLine, StateLine
from coach.screens.widgets.result import CLEAN, Result
from coach.screens.widgets.staff_view import StaffView
from coach.screens.widgets.strip import StripLine
from coach.screens.widgets.window_engraver import Engraver

__all__ = [
    "CLEAN",
    "AssignmentLine",
    "Engraver",
    "HelpLine",
    "Result",
    "StaffView",
    "StateLine",
    "StripLine",
]
