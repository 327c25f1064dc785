"""Time signatures out of MusicXML."""

from __future__ import annotations

from fractions import Fraction
from xml.etree.ElementTree import Element

from coach.score.metre import Metre
from coach.score.reading.safe import whole

_MOST = 256


def read_time(element: Element) -> Metre | None:
    """The metre of a ``time`` element: 6/8, 3+2/8, 3/4 + 2/8; None for a bar without metre.

    Raises ValueError where it is damaged.
    """
    if element.find("senza-misura") is not None:
        return None
    uppers = [child.text or "" for child in element if child.tag == "beats"]
    lowers = [whole(child.text, 1, _MOST) for child in element if child.tag == "beat-type"]
    if not uppers or len(uppers) != len(lowers):
        raise ValueError("beats and beat-type do not pair")
    pairs = [
        (_beats(part), _power(lower))
        for upper, lower in zip(uppers, lowers, strict=True)
        for part in upper.split("+")
    ]
    smallest = max(lower for _, lower in pairs)
    groups = tuple(beats * smallest // lower for beats, lower in pairs)
    return Metre(sum(groups), smallest, groups if len(groups) > 1 else ())


def _beats(text: str) -> int:
    beats = whole(text, 1, _MOST)
    if beats is None:
        raise ValueError("beats is no number")
    return beats


def _power(lower: int | None) -> int:
    if lower is None or lower & (lower - 1):
        raise ValueError("beat-type is no note length")
    return lower


def metre_of_length(length_quarters: Fraction) -> Metre:
    """A metre for a bar that has none: as many quarters, or shorter notes, as it is long."""
    for beat_type in (4, 8, 16, 32):
        beats = length_quarters * beat_type / 4
        if beats.denominator == 1 and beats > 0:
            return Metre(int(beats), beat_type)
    return Metre(max(1, round(length_quarters)), 4)
