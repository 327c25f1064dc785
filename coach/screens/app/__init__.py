"""The app: which screen is shown, and who hears the piano."""

from coach.screens.app.app import KeyholeApp

__all__ = ["KeyholeApp"]
