"""What stands in a note's element: its fields, and the marks at it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from itertools import groupby
from xml.etree.ElementTree import Element

from coach.score.model import Grace, NoteMark
from coach.score.pitch import STEPS, Spelling
from coach.score.reading.musicxml.facts import RawNote
from coach.score.reading.safe import clean, number, whole

# The fields of one MusicXML ``note`` element, taken in a single pass over its children.


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
    has_sign: bool = False
    ties: list[str] = field(default_factory=list)
    beams_to_next: int | None = None
    """How many beams lead on from the stem; None where it has no beam at all."""
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
        elif tag == "beam":
            out.beams_to_next = (out.beams_to_next or 0) + (child.text in _LEADS_ON)
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


def _accidental(out: NoteFields, child: Element) -> None:
    out.has_sign = True


def _time_modification(out: NoteFields, child: Element) -> None:
    actual = whole(child.findtext("actual-notes"), 1, 1000)
    normal = whole(child.findtext("normal-notes"), 1, 1000)
    if actual and normal:
        out.tuplet = (actual, normal)


_RARE = {
    "grace": _grace,
    "cue": _cue,
    "rest": _rest,
    "accidental": _accidental,
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
def spell(step: str | None, alter: str | None, octave: str | None) -> Spelling | None:
    """A written pitch; None where it is none, or no key has it."""
    letter = (step or "").strip().upper()
    semitones = number(alter) or Fraction(0)
    height = whole(octave, -1, 10)
    if len(letter) != 1 or letter not in STEPS or height is None or abs(semitones) > 4:
        return None
    spelling = Spelling(letter, round(semitones), height)
    return spelling if 0 <= spelling.midi <= 127 else None


# What hangs on a note in MusicXML: fingerings, ties as drawn, slurs, articulation, ornaments.
#
# Small notes: whether they belong to the note after them or to the one before.


_MARKS = {
    "staccato": NoteMark.STACCATO,
    "spiccato": NoteMark.STACCATO,
    "staccatissimo": NoteMark.STACCATISSIMO,
    "tenuto": NoteMark.TENUTO,
    "detached-legato": NoteMark.TENUTO,
    "accent": NoteMark.ACCENT,
    "strong-accent": NoteMark.MARCATO,
    "fermata": NoteMark.FERMATA,
    "arpeggiate": NoteMark.ARPEGGIO,
    "glissando": NoteMark.GLISSANDO,
    "slide": NoteMark.GLISSANDO,
    "trill-mark": NoteMark.TRILL,
    "wavy-line": NoteMark.TRILL,
    "shake": NoteMark.MORDENT,
    "mordent": NoteMark.MORDENT,
    "inverted-mordent": NoteMark.MORDENT,
    "schleifer": NoteMark.TURN,
    "haydn": NoteMark.TURN,
    "turn": NoteMark.TURN,
    "inverted-turn": NoteMark.TURN,
    "delayed-turn": NoteMark.TURN,
    "delayed-inverted-turn": NoteMark.TURN,
    "vertical-turn": NoteMark.TURN,
    "inverted-vertical-turn": NoteMark.TURN,
    "tremolo": NoteMark.TREMOLO,
}
_LEADS_ON = frozenset({"begin", "continue"})
"""What is said of a beam that goes on to the next stem (MusicXML 4.0, beam-value)."""
MOST_STROKES = 8
"""Of a tremolo (MusicXML 4.0, tremolo-marks)."""
_SPANS = frozenset({"wavy-line", "glissando", "slide"})
"""They end at a note that they do not change."""
_GROUPS = frozenset({"articulations", "ornaments", "technical"})
_FINGER_CHANGE = re.compile(r"([1-5])\s*[-\u2010-\u2015\s]\s*([1-5])")


def read_notations(notations: Iterable[Element], note: RawNote) -> None:
    """Put what a note's ``notations`` elements say onto the note."""
    fingering: list[str] = []
    for holder in notations:
        for element in holder:
            if element.tag in _GROUPS:
                for inner in element:
                    _read_one(inner, note, fingering)
            else:
                _read_one(element, note, fingering)
    note.fingering = tuple(fingering)


def _read_one(element: Element, note: RawNote, fingering: list[str]) -> None:
    tag = element.tag
    if tag == "fingering":
        fingering += _fingers(element.text)
    elif tag == "tied":
        note.tie_start |= element.get("type") in ("start", "continue")
        note.tie_stop |= element.get("type") in ("stop", "continue")
    elif tag == "slur":
        kind = element.get("type", "")
        if kind in ("start", "stop"):
            note.slurs.append((element.get("number", "1"), kind))
    elif tag in _MARKS and not (tag in _SPANS and element.get("type") == "stop"):
        note.marks.add(_MARKS[tag])
        if tag == "arpeggiate":
            note.roll = element.get("number", "")
        if tag == "detached-legato":
            note.marks.add(NoteMark.STACCATO)
        if tag == "tremolo":
            kind = element.get("type", "single")
            if kind in ("single", "start"):
                note.strokes = whole(element.text, 0, MOST_STROKES) or 0
            if kind == "start":
                note.marks.add(NoteMark.TREMOLO_TO_NEXT)


def _fingers(text: str | None) -> list[str]:
    """A printed fingering; a change of finger (4-5) has two entries."""
    printed = clean(text)
    change = _FINGER_CHANGE.fullmatch(printed)
    if change:
        return [change[1], change[2]]
    return [printed] if printed else []


def share_in_chords(notes: list[RawNote]) -> None:
    """Give every note of a chord the marks that the file hangs on one of them.

    Files write a chord's staccato, arpeggio or tremolo on its first note only; a stack of fingers
    on the first note of a chord of three or more is one finger for each note.
    """
    for _, group in groupby(notes, key=lambda note: note.chord):
        chord = list(group)
        if len(chord) > 1:
            shared = set().union(*(note.marks for note in chord))
            strokes = max(note.strokes for note in chord)
            beams = [note.beams_to_next for note in chord if note.beams_to_next is not None]
            for note in chord:
                note.marks, note.strokes = set(shared), strokes
                note.beams_to_next = max(beams, default=None)
            _spread_fingers(chord)


def join_rolls(notes: list[RawNote]) -> None:
    """Mark what is rolled in one from staff to staff (MusicXML 4.0, arpeggiate: its number)."""
    rolls: dict[tuple[int, Fraction, str], dict[int, int]] = {}
    """The chords of each, with their staves."""
    for note in notes:
        if note.roll:
            rolls.setdefault((note.bar, note.at, note.roll), {})[note.chord] = note.staff
    across: set[int] = set()
    for staves in rolls.values():
        if len({*staves.values()}) > 1:
            across |= staves.keys()
    for note in notes:
        if note.chord in across:
            note.marks.add(NoteMark.ROLLED_ACROSS)


def _spread_fingers(chord: list[RawNote]) -> None:
    fingers = chord[0].fingering
    bare = not any(note.fingering for note in chord[1:])
    if len(chord) >= 3 and len(fingers) == len(chord) and bare:
        for note, finger in zip(chord, fingers, strict=True):
            note.fingering = (finger,)


class Graces:
    """The small notes of a bar that wait for what follows them."""

    def __init__(self) -> None:
        self._waiting: list[RawNote] = []
        self._is_slashed = False
        self._last_main: dict[str, RawNote] = {}

    def small(self, note: RawNote, has_slash: bool) -> None:
        """A small note."""
        note.grace = Grace.BEFORE
        if has_slash:
            note.marks.add(NoteMark.SLASH)
        self._waiting.append(note)
        self._is_slashed |= has_slash

    def main(self, note: RawNote) -> None:
        """A note of full size."""
        self.settle(note)
        self._last_main[note.voice] = note

    def end_bar(self) -> None:
        """The bar is over: nothing follows in it."""
        self.settle(None)
        self._last_main.clear()

    def settle(self, main: RawNote | None) -> None:
        """Decide for the small notes that wait; ``main`` follows them, or a rest or a step.

        They belong before where nothing of their voice follows at their place, and where two or
        more without a slash follow a trill: its ending (common practice).
        """
        waiting, slashed = self._waiting, self._is_slashed
        self._waiting, self._is_slashed = [], False
        before = self._last_main.get(waiting[0].voice) if waiting else None
        if before is None:
            return
        first = waiting[0]
        is_led_to = main is not None and main.voice == first.voice and main.at == first.at
        ends_trill = NoteMark.TRILL in before.marks and len(waiting) > 1 and not slashed
        if ends_trill or not is_led_to:
            for note in waiting:
                note.grace = Grace.AFTER
