"""Words about a score, safe to print on one line of a terminal."""

from __future__ import annotations

from fractions import Fraction

_KEY_NAMES = {
    0: ("C", "A"),
    1: ("G", "E"),
    2: ("D", "B"),
    3: ("A", "F sharp"),
    4: ("E", "C sharp"),
    5: ("B", "G sharp"),
    6: ("F sharp", "D sharp"),
    7: ("C sharp", "A sharp"),
    -1: ("F", "D"),
    -2: ("B flat", "G"),
    -3: ("E flat", "C"),
    -4: ("A flat", "F"),
    -5: ("D flat", "B flat"),
    -6: ("G flat", "E flat"),
    -7: ("C flat", "A flat"),
}
BEAT_NAMES = {
    Fraction(1, 4): "sixteenth",
    Fraction(3, 8): "dotted sixteenth",
    Fraction(1, 2): "eighth",
    Fraction(3, 4): "dotted eighth",
    Fraction(1): "quarter",
    Fraction(3, 2): "dotted quarter",
    Fraction(2): "half",
    Fraction(3): "dotted half",
    Fraction(4): "whole",
}
"""The note values by their length in quarters."""


def printable(text: str, longest: int = 600, unseen: str = "?") -> str:
    """Words from outside on one line, as they may be shown anywhere: the one door for them.

    A port's name, a file's or a title may hold what a terminal obeys (escape sequences), what turns
    a line round (U+202E), or half a character (a file name that is no UTF-8). White space of any
    kind is a space, whatever else can't be seen is ``unseen``; cut to ``longest`` characters.
    """
    clean = text if text.isprintable() else "".join(_make_visible(char, unseen) for char in text)
    return clean if len(clean) <= longest else clean[: longest - 1] + "…"


def printable_lines(text: str, longest: int = 100_000) -> str:
    """The same of several lines; only a broken file has one longer than that (own choice)."""
    return "\n".join(printable(line, longest) for line in text.split("\n"))


def _make_visible(char: str, unseen: str) -> str:
    if char.isprintable():
        return char
    return " " if char.isspace() else unseen


def count_of(number: int, one: str, several: str = "") -> str:
    """``1 note``, ``1,200 notes``."""
    return f"{number:,} {one if number == 1 else several or one + 's'}"


def mixed(value: Fraction) -> str:
    """A number as people write it: ``3``, ``1/2``, ``2 1/2``."""
    whole, part = divmod(value, 1)
    return " ".join(str(number) for number in (whole, part) if number) or "0"


def key_words(fifths: int) -> str:
    """A key signature: ``2 flats (B flat major or G minor)``."""
    signs = count_of(abs(fifths), "sharp" if fifths > 0 else "flat") if fifths else "no signs"
    names = _KEY_NAMES.get(fifths)
    return f"{signs} ({names[0]} major or {names[1]} minor)" if names else signs


def beat_name(length_quarters: Fraction) -> str:
    """A beat by the note that it is as long as: ``dotted quarter``."""
    return BEAT_NAMES.get(length_quarters, f"{length_quarters} quarters")
