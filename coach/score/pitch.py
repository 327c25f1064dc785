"""Pitches: MIDI key numbers and their spelling.

Conventions
-----------
``pitch`` is always a MIDI key number: middle C is 60, A4 is 69, an 88-key piano has 21 to 108
(MIDI 1.0). A :class:`Spelling` is how that key is written: step, alteration, octave, so that
C flat 4 is key 59 and B sharp 3 is key 60.
"""

from __future__ import annotations

from dataclasses import dataclass

STEPS = "CDEFGAB"
"""The seven letters, from the octave's first; the index is the diatonic step within the octave."""

_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_ALTER_WORDS = {-2: " double flat", -1: " flat", 0: "", 1: " sharp", 2: " double sharp"}
_ALTER_SIGNS = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "x"}
# Line of fifths from F flat-wards to sharp-wards; index 0 is C.
_FIFTHS = ("C", "G", "D", "A", "E", "B", "F")

LOWEST_KEY, HIGHEST_KEY = 21, 108
"""The keys of an 88-key piano (MIDI 1.0)."""
MIDDLE_C = 60


@dataclass(frozen=True, slots=True, order=True)
class Spelling:
    """How a pitch is written: letter, semitones of alteration, octave (C4 is middle C)."""

    step: str
    alter: int
    octave: int

    @property
    def midi(self) -> int:
        """The MIDI key number that this spelling sounds at."""
        return 12 * (self.octave + 1) + _SEMITONES[self.step] + self.alter

    @property
    def diatonic(self) -> int:
        """Staff position: 7 x octave + letter, so that E4 is 30 and G2 is 18."""
        return 7 * self.octave + STEPS.index(self.step)

    @property
    def words(self) -> str:
        """The note's name without its octave, to be read aloud: ``C sharp``."""
        return self.step + _ALTER_WORDS.get(self.alter, f" {self.alter:+d}")

    @property
    def symbol(self) -> str:
        """The note's name with its octave: ``C#4``."""
        return f"{self.step}{_ALTER_SIGNS.get(self.alter, f'({self.alter:+d})')}{self.octave}"

    @classmethod
    def of(cls, pitch: int, key_fifths: int = 0) -> Spelling:
        """The likeliest spelling of a key number in a key signature.

        ``key_fifths`` is the signature: sharps positive, flats negative. The twelve notes nearest
        to the key on the line of fifths are used (three to the flat side of the tonic, eight to
        the sharp side), which spells the raised leading notes of major and relative minor as a
        musician expects.
        """
        place = (pitch % 12) * 7 % 12  # fifths above C, 0 to 11
        lowest = key_fifths - 3
        fifths = lowest + (place - lowest) % 12
        step, alter = fifths_name(fifths)
        octave = (pitch - alter - _SEMITONES[step]) // 12 - 1
        return cls(step, alter, octave)


def fifths_name(fifths: int) -> tuple[str, int]:
    """Letter and alteration of a place on the line of fifths, C being 0, G 1, F -1."""
    index = fifths % 7
    step = _FIFTHS[index]
    base = -1 if step == "F" else index
    return step, (fifths - base) // 7
