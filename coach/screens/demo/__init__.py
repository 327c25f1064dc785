"""The demo: a simulated pianist at the keys."""

from coach.screens.demo.performer import DemoClock, Performance
from coach.screens.demo.screen import DemoScreen

__all__ = ["DemoClock", "DemoScreen", "Performance"]
