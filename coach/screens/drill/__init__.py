"""The drill on the screen."""

from coach.screens.drill.click import plan_clicks
from coach.screens.drill.player import Player
from coach.screens.drill.screen import DrillScreen

__all__ = ["DrillScreen", "Player", "plan_clicks"]
