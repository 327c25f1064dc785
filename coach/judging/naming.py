"""Names for keys as this passage would write them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from statistics import fmean

from coach.score.model import ScoreNote
from coach.score.pitch import Spelling, fifths_name

_FIFTHS = "FCGDAEB"


def spelled(pitch: int, notes: Sequence[ScoreNote]) -> Spelling:
    """A key's spelling in this passage: as it is written there, else the nearest by fifths."""
    for note in notes:
        if (note.pitch - pitch) % 12 == 0:
            octaves = (pitch - note.pitch) // 12
            return Spelling(note.spelling.step, note.spelling.alter, note.spelling.octave + octaves)
    centre = fmean(_fifths(notes)) if notes else 1.0
    place = pitch * 7 % 12
    fifths = min((place + 12 * k for k in range(-3, 4)), key=lambda f: abs(f - centre))
    step, alter = fifths_name(fifths)
    natural = Spelling(step, alter, 4).midi
    return Spelling(step, alter, 4 + (pitch - natural) // 12)


def _fifths(notes: Iterable[ScoreNote]) -> Iterable[int]:
    for note in notes:
        yield _FIFTHS.index(note.spelling.step) - 1 + 7 * note.spelling.alter


def instead(played: int, written: ScoreNote, notes: Sequence[ScoreNote]) -> str:
    """``C sharp for C``; by octaves: ``C an octave high``."""
    name = written.spelling.words
    steps = played - written.pitch
    if steps % 12 == 0 and steps:
        way = "high" if steps > 0 else "low"
        count = abs(steps) // 12
        return f"{name} an octave {way}" if count == 1 else f"{name} {count} octaves {way}"
    return f"{spelled(played, notes).words} for {name}"
