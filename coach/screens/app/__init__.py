"""The app: which screen is shown, and who hears the piano."""

from coach.screens.app.app import KeyholeApp
from coach.screens.app.gc_pause import Rests, forget_pictures

__all__ = ["KeyholeApp", "Rests", "forget_pictures"]
