"""Names for keys as this passage would write them."""

from __future__ import annotations

from collections.abc import Collection
from statistics import fmean

from coach.score.model import ScoreNote
from coach.score.pitch import Spelling, fifths_name
from coach.score.window import Excerpt

_FIFTHS = "FCGDAEB"
_MIDDLE_OF_C_MAJOR = 2.0
"""F to B on the line of fifths, C being 0."""


def spelled(pitch: int, excerpt: Excerpt) -> Spelling:
    """A key's spelling in this passage: as it is written there, else the nearest by fifths."""
    known = excerpt.spellings.get(pitch % 12)
    if known is not None:
        step, alter = known.step, known.alter
    else:
        step, alter = fifths_name(_nearest_fifths(pitch, excerpt.spellings.values()))
    octave = 4 + (pitch - Spelling(step, alter, 4).midi) // 12
    return Spelling(step, alter, octave)


def _nearest_fifths(pitch: int, known: Collection[Spelling]) -> int:
    """The place of a key on the line of fifths that lies nearest to those that are written."""
    centre = fmean(map(_fifths, known)) if known else _MIDDLE_OF_C_MAJOR
    place = pitch * 7 % 12
    return min((place + 12 * k for k in range(-3, 4)), key=lambda fifths: abs(fifths - centre))


def _fifths(spelling: Spelling) -> int:
    return _FIFTHS.index(spelling.step) - 1 + 7 * spelling.alter


def instead(played: int, written: ScoreNote, excerpt: Excerpt) -> str:
    """``C sharp for C``; by octaves: ``C an octave high``."""
    name = written.spelling.words
    steps = played - written.pitch
    if steps % 12 == 0 and steps:
        way = "high" if steps > 0 else "low"
        count = abs(steps) // 12
        return f"{name} an octave {way}" if count == 1 else f"{name} {count} octaves {way}"
    return f"{spelled(played, excerpt).words} for {name}"
