"""What sounds: the click and its times."""

from coach.playing.sounding.click_output import ClickThread

__all__ = ["ClickThread"]
