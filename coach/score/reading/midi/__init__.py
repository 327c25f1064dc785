"""Standard MIDI files as scores."""

from coach.score.reading.midi.score import read_midi

__all__ = ["read_midi"]
