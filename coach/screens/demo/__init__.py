"""The demo: a simulated pianist at the keys."""

from coach.screens.demo.performer import DemoClock, LessonPlayer
from coach.screens.demo.screen import DemoScreen

__all__ = ["DemoClock", "DemoScreen", "LessonPlayer"]
