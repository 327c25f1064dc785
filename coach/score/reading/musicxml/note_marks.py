"""What hangs on a note in MusicXML: fingerings, ties as drawn, slurs, articulation, ornaments.

Small notes: whether they belong to the note after them or to the one before.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from itertools import groupby
from xml.etree.ElementTree import Element

from coach.score.printed import Grace, Mark
from coach.score.reading.musicxml.found import RawNote
from coach.score.reading.safe import clean

_MARKS = {
    "staccato": Mark.STACCATO,
    "spiccato": Mark.STACCATO,
    "staccatissimo": Mark.STACCATISSIMO,
    "tenuto": Mark.TENUTO,
    "detached-legato": Mark.TENUTO,
    "accent": Mark.ACCENT,
    "strong-accent": Mark.MARCATO,
    "fermata": Mark.FERMATA,
    "arpeggiate": Mark.ARPEGGIO,
    "glissando": Mark.GLISSANDO,
    "slide": Mark.GLISSANDO,
    "trill-mark": Mark.TRILL,
    "wavy-line": Mark.TRILL,
    "shake": Mark.MORDENT,
    "mordent": Mark.MORDENT,
    "inverted-mordent": Mark.MORDENT,
    "schleifer": Mark.TURN,
    "haydn": Mark.TURN,
    "turn": Mark.TURN,
    "inverted-turn": Mark.TURN,
    "delayed-turn": Mark.TURN,
    "delayed-inverted-turn": Mark.TURN,
    "vertical-turn": Mark.TURN,
    "inverted-vertical-turn": Mark.TURN,
    "tremolo": Mark.TREMOLO,
}
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
        if tag == "detached-legato":
            note.marks.add(Mark.STACCATO)


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
            for note in chord:
                note.marks = set(shared)
            _spread_fingers(chord)


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
        ends_trill = Mark.TRILL in before.marks and len(waiting) > 1 and not slashed
        if ends_trill or not is_led_to:
            for note in waiting:
                note.grace = Grace.AFTER
