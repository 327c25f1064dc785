"""The screens round the drill, and those over it."""

from coach.screens.dialogs.click import ClickScreen
from coach.screens.dialogs.commands import CommandsScreen, LearnScreen, Learnt
from coach.screens.dialogs.connect import ConnectScreen, explain_no_match
from coach.screens.dialogs.dialog import (
    Dialog,
    NoticeScreen,
    Palette,
    TextScreen,
    TooSmallScreen,
    is_too_small,
)
from coach.screens.dialogs.hands import HandsScreen
from coach.screens.dialogs.home import FIRST_PAINT_S, HomeScreen
from coach.screens.dialogs.minutes import MinutesScreen
from coach.screens.dialogs.opening import OpeningScreen
from coach.screens.dialogs.pianist import PianistScreen
from coach.screens.dialogs.plan import PlanScreen
from coach.screens.dialogs.setup import SetupScreen
from coach.screens.dialogs.texts import columns_of_text, details_text, help_text, why_text
from coach.screens.dialogs.write import WriteScreen

__all__ = [
    "FIRST_PAINT_S",
    "ClickScreen",
    "CommandsScreen",
    "ConnectScreen",
    "Dialog",
    "HandsScreen",
    "HomeScreen",
    "LearnScreen",
    "Learnt",
    "MinutesScreen",
    "NoticeScreen",
    "OpeningScreen",
    "Palette",
    "PianistScreen",
    "PlanScreen",
    "SetupScreen",
    "TextScreen",
    "TooSmallScreen",
    "WriteScreen",
    "columns_of_text",
    "details_text",
    "explain_no_match",
    "help_text",
    "is_too_small",
    "why_text",
]
