"""The fields of one MusicXML ``note`` element, taken in a single pass over its children."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from xml.etree.ElementTree import Element

from coach.score.pitch import STEPS, Spelling
from coach.score.reading.safe import number, whole

_TYPES = {
    "maxima": Fraction(32),
    "long": Fraction(16),
    "breve": Fraction(8),
    "whole": Fraction(4),
    "half": Fraction(2),
    "quarter": Fraction(1),
    "eighth": Fraction(1, 2),
    "16th": Fraction(1, 4),
    "32nd": Fraction(1, 8),
    "64th": Fraction(1, 16),
    "128th": Fraction(1, 32),
    "256th": Fraction(1, 64),
    "512th": Fraction(1, 128),
    "1024th": Fraction(1, 256),
}


def type_quarters(name: str | None) -> Fraction | None:
    """The length of an undotted note type (``eighth``) in quarters."""
    return _TYPES.get((name or "").strip())


@dataclass(slots=True)
class NoteFields:
    """What a ``note`` element says, still as text."""

    is_chord: bool = False
    is_grace: bool = False
    has_slash: bool = False
    is_cue: bool = False
    is_rest: bool = False
    is_hidden: bool = False
    pitch: Element | None = None
    duration: str | None = None
    voice: str = ""
    staff: str | None = None
    type: str | None = None
    dots: int = 0
    tuplet: tuple[int, int] = (1, 1)
    """So many notes in the time of so many; nested tuplets come multiplied already."""
    ties: list[str] = field(default_factory=list)
    notations: list[Element] = field(default_factory=list)


def note_fields(note: Element) -> NoteFields:
    """Read a ``note`` element."""
    out = NoteFields(is_hidden=note.get("print-object") == "no")
    for child in note:
        tag = child.tag
        if tag == "pitch":
            out.pitch = child
        elif tag == "duration":
            out.duration = child.text
        elif tag == "voice":
            out.voice = (child.text or "").strip()
        elif tag == "staff":
            out.staff = child.text
        elif tag == "type":
            out.type = child.text
        elif tag == "dot":
            out.dots += 1
        elif tag == "chord":
            out.is_chord = True
        elif tag == "tie":
            out.ties.append(child.get("type", ""))
        elif tag == "notations":
            out.notations.append(child)
        elif tag in _RARE:
            _RARE[tag](out, child)
    return out


def _grace(out: NoteFields, child: Element) -> None:
    out.is_grace = True
    out.has_slash = child.get("slash") == "yes"


def _cue(out: NoteFields, child: Element) -> None:
    out.is_cue = True


def _rest(out: NoteFields, child: Element) -> None:
    out.is_rest = True


def _time_modification(out: NoteFields, child: Element) -> None:
    actual = whole(child.findtext("actual-notes"), 1, 1000)
    normal = whole(child.findtext("normal-notes"), 1, 1000)
    if actual and normal:
        out.tuplet = (actual, normal)


_RARE = {
    "grace": _grace,
    "cue": _cue,
    "rest": _rest,
    "time-modification": _time_modification,
}


def nominal_quarters(fields: NoteFields) -> Fraction | None:
    """The length that the note's looks say: type, dots and tuplet; None without a type."""
    base = type_quarters(fields.type)
    if base is None:
        return None
    dotted = base * (2 - Fraction(1, 1 << min(fields.dots, 4)))
    actual, normal = fields.tuplet
    return dotted * normal / actual


def written_quarters(fields: NoteFields, divisions: Fraction) -> tuple[Fraction, Fraction] | None:
    """A note's length as the file counts it, and as it is meant, both in quarters.

    The two differ only where a tuplet note cannot be had in whole divisions and the file has the
    whole number just above or below it: an eighth of a triplet as 85 of 256 means 1/3. None where
    the file has no usable duration.
    """
    units = number(fields.duration)
    if units is None or units < 0:
        return None
    counted = units / divisions
    actual, normal = fields.tuplet
    if actual != normal:
        nominal = nominal_quarters(fields)
        if nominal is not None and 0 < abs(nominal - counted) < 1 / divisions:
            return counted, nominal
    return counted, counted


@lru_cache(maxsize=1024)
def spelled(step: str | None, alter: str | None, octave: str | None) -> Spelling | None:
    """A written pitch; None where it is none, or no key has it."""
    letter = (step or "").strip().upper()
    semitones = number(alter) or Fraction(0)
    height = whole(octave, -1, 10)
    if len(letter) != 1 or letter not in STEPS or height is None or abs(semitones) > 4:
        return None
    spelling = Spelling(letter, round(semitones), height)
    return spelling if 0 <= spelling.midi <= 127 else None
