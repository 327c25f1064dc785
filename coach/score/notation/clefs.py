"""Clefs and key signatures: which step lies on which line.

Steps are ``7 x octave + letter`` (:attr:`coach.score.pitch.Spelling.diatonic`): the bottom line
of a treble staff is E4 = 30, of a bass staff G2 = 18. A *position* counts steps from the bottom
line of the staff: 0 is the bottom line, 8 the top line. Common practice throughout.
"""

from __future__ import annotations

from fractions import Fraction

from coach.score.model import Clef, Score

_SIGN_STEPS = {"G": 32, "F": 24, "C": 28}
"""The step that each clef's sign names: G4, F3, C4."""

_SHARP_POSITIONS = (8, 5, 9, 6, 3, 7, 4)
"""Where the sharps F C G D A E B stand on a treble staff."""
_FLAT_POSITIONS = (4, 7, 3, 6, 2, 5, 1)
"""Where the flats B E A D G C F stand on a treble staff."""
_TREBLE_BOTTOM = 30
"""The step of E4, on the treble staff's lowest line."""


def bottom_step(clef: Clef) -> int:
    """The step on the staff's bottom line under this clef: treble 30 (E4), bass 18 (G2)."""
    sign = _SIGN_STEPS.get(clef.sign, _SIGN_STEPS["G"])
    return sign - 2 * (clef.line - 1) + 7 * clef.octave


def clef_at(score: Score, staff: int, onset_quarters: Fraction) -> Clef:
    """The clef in force on a staff; treble above and bass below where the file names none."""
    found = None
    for clef in score.clefs:
        if clef.staff == staff and (clef.onset_quarters <= onset_quarters or found is None):
            found = clef
    if found:
        return found
    return Clef(staff, Fraction(0), "G", 2) if staff == 1 else Clef(staff, Fraction(0), "F", 4)


def clef_changes(
    score: Score, staff: int, after_quarters: Fraction, until_quarters: Fraction
) -> tuple[Clef, ...]:
    """Clefs that begin on a staff after one onset and up to another."""
    changes = []
    for clef in score.clefs:
        if clef.staff == staff and after_quarters < clef.onset_quarters <= until_quarters:
            before = clef_at(score, staff, clef.onset_quarters - Fraction(1, 1 << 20))
            if (before.sign, before.line, before.octave) != (clef.sign, clef.line, clef.octave):
                changes.append(clef)
    return tuple(changes)


def key_alters(fifths: int) -> dict[str, int]:
    """What a key signature does to each letter it names: 2 sharps is {"F": 1, "C": 1}."""
    count, alter = min(abs(fifths), 7), 1 if fifths > 0 else -1
    order = ["F", "C", "G", "D", "A", "E", "B"]
    letters = order[:count] if fifths > 0 else order[::-1][:count]
    return dict.fromkeys(letters, alter)


def key_positions(fifths: int, clef: Clef) -> tuple[int, ...]:
    """The positions of a key signature's signs on a staff with this clef, left to right."""
    treble = _SHARP_POSITIONS if fifths > 0 else _FLAT_POSITIONS
    # A clef moves all signs alike; of the two places an octave apart take the one in the staff.
    shift = (_TREBLE_BOTTOM - bottom_step(clef)) % 7
    shift = shift - 7 if shift > 2 else shift
    return tuple(position + shift for position in treble[: min(abs(fifths), 7)])
