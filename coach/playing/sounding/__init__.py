"""What sounds: the click, and whatever else we play at the piano, each message at its time."""

from coach.playing.sounding.line import SoundingLine

__all__ = ["SoundingLine"]
