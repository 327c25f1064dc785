"""The computer keyboard as a makeshift piano: which letter is which note.

Two rows of letters are two runs of white keys with the black ones above them, as on a piano: the
lower row for the left hand from C3, the upper row for the right hand from C4 (common practice). A
computer keyboard can't tell how hard or how long, so it is for trying out, not for practising.
"""

from __future__ import annotations

from enum import StrEnum

from coach.score.pitch import MIDDLE_C

VELOCITY = 64
LENGTH_S = 0.25
"""What a struck letter is given: it says neither how hard nor how long."""


class Layout(StrEnum):
    """A computer keyboard, by the first letters of its rows."""

    QWERTY = "qwerty"
    QWERTZ = "qwertz"
    AZERTY = "azerty"


_ROWS = {
    Layout.QWERTY: ("zsxdcvgbhnjm,l.;/", "q2w3er5t6y7ui9o0p"),
    Layout.QWERTZ: ("ysxdcvgbhnjm,l.ö-", "q2w3er5t6z7ui9o0p"),
    Layout.AZERTY: ("wsxdcvgbhnj,;l:m!", 'aéz"er(t-yèuiçoàp'),
}
"""Lower and upper row of each, from C upwards by semitone."""


def pitch_of(letter: str, *, octaves: int = 0, layout: Layout = Layout.QWERTY) -> int | None:
    """The MIDI key for a letter, moved by octaves; None where it is no note.

    Both rows reach into the other's octave, so that either hand has an octave and a third.
    """
    letter = letter.lower()
    for row, first in zip(_ROWS[layout], (MIDDLE_C - 12, MIDDLE_C), strict=True):
        if len(letter) == 1 and letter in row:
            pitch = first + row.index(letter) + 12 * octaves
            return pitch if 0 <= pitch <= 127 else None
    return None
