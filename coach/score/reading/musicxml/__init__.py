"""MusicXML, read by a walk of our own."""

from coach.score.reading.musicxml.file import read_musicxml
from coach.score.reading.musicxml.piano_part import OTHER_PLAYERS
from coach.score.reading.musicxml.tempo import sensible

__all__ = ["OTHER_PLAYERS", "read_musicxml", "sensible"]
