"""How many notes a **kern, MEI or ABC file writes: a check on what a library makes of it.

Tied notes count one by one, rests not at all.
"""

from __future__ import annotations

import re

from coach.score.reading.files import Kind

_ABC_FIELD = re.compile(r"^\s*[A-Za-z+]:.*$", re.MULTILINE)
_ABC_NOISE = re.compile(r'"[^"]*"|![^!\n]*!|\+[^+\n]*\+|\[[A-Za-z]:[^\]]*\]|%.*$', re.MULTILINE)
_MEI_NOTE = re.compile(r"<(?:\w+:)?note[\s/>]")


def written_notes(text: str, kind: Kind) -> int:
    """The number of notes that are written in the first piece of a file."""
    if kind is Kind.KERN:
        return _kern_notes(text)
    if kind is Kind.MEI:
        return len(_MEI_NOTE.findall(text))
    return _abc_notes(text)


def _kern_notes(text: str) -> int:
    """Note tokens in the **kern spines, which may split, join, swap and end on the way."""
    spines: list[bool] = []
    notes = 0
    for line in text.splitlines():
        if not line or line.startswith("!"):
            continue
        cells = line.split("\t")
        if line.startswith("**"):
            spines = [cell == "**kern" for cell in cells]
        elif line.startswith("*"):
            spines = _manipulated(spines, cells)
        elif not line.startswith("="):
            for is_kern, cell in zip(spines, cells, strict=False):
                notes += _notes_in(cell) if is_kern else 0
    return notes


def _notes_in(cell: str) -> int:
    return sum(
        "r" not in token and re.search("[A-Ga-g]", token) is not None for token in cell.split(" ")
    )


def _manipulated(spines: list[bool], cells: list[str]) -> list[bool]:
    """The spines after a line of spine paths: split ``*^``, join ``*v``, end ``*-``, add ``*+``."""
    out: list[bool] = []
    joining = False
    for is_kern, cell in zip(spines, cells, strict=False):
        if cell == "*v":
            if not joining:
                out.append(is_kern)
            joining = True
            continue
        joining = False
        out += {"*^": [is_kern] * 2, "*-": [], "*+": [is_kern, False]}.get(cell, [is_kern])
    return out


def first_tune(text: str) -> tuple[str, int]:
    """The first tune of an ABC file, with what stands before all tunes, and how many there are."""
    starts = [match.start() for match in re.finditer(r"^X:", text, re.MULTILINE)]
    return (text[: starts[1]] if len(starts) > 1 else text), max(len(starts), 1)


def _abc_notes(text: str) -> int:
    """Letters of notes in the body of a tune."""
    body = _ABC_FIELD.sub("", _ABC_NOISE.sub("", text))
    return len(re.findall(r"[A-Ga-g]", body))
