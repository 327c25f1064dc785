"""What sounds: the click, and whatever else we play at the piano, each message at its time."""

from coach.playing.sounding.line import SoundingLine
from coach.playing.sounding.speaker import SPEAKER, can_speak

__all__ = ["SPEAKER", "SoundingLine", "can_speak"]
