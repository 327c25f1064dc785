"""The screens round the drill, and those over it."""

from coach.screens.dialogs.connect import ConnectScreen, unheard
from coach.screens.dialogs.details import DetailsScreen, WhyScreen
from coach.screens.dialogs.dialog import Palette
from coach.screens.dialogs.hands import HandsScreen
from coach.screens.dialogs.help import HelpScreen
from coach.screens.dialogs.home import FIRST_PAINT_S, HomeScreen
from coach.screens.dialogs.notice import NoticeScreen, SheetScreen, TooSmallScreen, is_too_small
from coach.screens.dialogs.opening import OpeningScreen
from coach.screens.dialogs.plan import PlanScreen

__all__ = [
    "FIRST_PAINT_S",
    "ConnectScreen",
    "DetailsScreen",
    "HandsScreen",
    "HelpScreen",
    "HomeScreen",
    "NoticeScreen",
    "OpeningScreen",
    "Palette",
    "PlanScreen",
    "SheetScreen",
    "TooSmallScreen",
    "WhyScreen",
    "is_too_small",
    "unheard",
]
