"""MusicXML, read by a walk of our own."""

from coach.score.reading.musicxml.directions import sensible
from coach.score.reading.musicxml.file import read_musicxml
from coach.score.reading.musicxml.parts import OTHER_PLAYERS

__all__ = ["OTHER_PLAYERS", "read_musicxml", "sensible"]
