"""The cursor of a MusicXML bar, with the roundings of the exporter undone.

A file that cannot have a tuplet note in whole divisions rounds it. The cursor keeps two places:
``counted``, where the file's own arithmetic stands, and ``at``, where the note is meant to be.
When the file steps back or on, the meant place is found again from the counted one.

The walk over one MusicXML part: where every note stands, and how long it is.

MusicXML 4.0 gives a bar as a list in which a cursor moves: a note moves it on by its duration, a
chord note and a grace note do not, ``backup`` and ``forward`` move it without a note. Positions
are kept exactly; those of tuplets that the file had to round are put where they are meant.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from xml.etree.ElementTree import Element

from coach.score.model import NoteMark
from coach.score.pitch import Spelling
from coach.score.reading.musicxml.bars import AttributesReader, read_barline
from coach.score.reading.musicxml.directions import chord_symbol, read_direction, read_sound
from coach.score.reading.musicxml.facts import PartFacts, RawBar, RawNote, RestAt, WordsAt
from coach.score.reading.musicxml.notes import (
    Graces,
    NoteFields,
    join_rolls,
    nominal_quarters,
    note_fields,
    read_notations,
    share_in_chords,
    spell,
    written_quarters,
)
from coach.score.reading.safe import clean, number, whole

_NEAR = Fraction(1, 64)
"""Two counted places closer than this are one place that was rounded twice."""


class Cursor:
    """Where the walk stands in the bar, in quarters from its start."""

    def __init__(self) -> None:
        self.to_bar_start()

    def to_bar_start(self) -> None:
        """Begin a bar."""
        self.counted = Fraction(0)
        self.at = Fraction(0)
        self.furthest = Fraction(0)
        self.chord_at = Fraction(0)
        self._is_rounded = False
        self._known = {Fraction(0): Fraction(0)}

    def begin_chord(self) -> None:
        """Remember where the chord that begins now stands, for its other notes."""
        self.chord_at = self.at

    def note(self, counted: Fraction, meant: Fraction) -> None:
        """Move on past a note of this length, as the file counts it and as it is meant."""
        self.counted += counted
        self.at += meant
        self._is_rounded |= counted != meant
        self._known.setdefault(self.counted, self.at)
        self.furthest = max(self.furthest, self.at)

    def forward(self, quarters: Fraction) -> None:
        """Move on without a note."""
        self._go(self.counted + quarters)
        self.furthest = max(self.furthest, self.at)

    def back(self, quarters: Fraction) -> bool:
        """Move back; False where that would leave the bar: it then stops at the beginning."""
        there = self.counted - quarters
        self._go(max(there, Fraction(0)))
        return there > -_NEAR

    def _go(self, counted: Fraction) -> None:
        self.counted = counted
        self.at = self._find_meant_position(counted) if self._is_rounded else counted

    def _find_meant_position(self, counted: Fraction) -> Fraction:
        if counted in self._known:
            return self._known[counted]
        nearest = min(self._known, key=lambda place: abs(place - counted))
        return self._known[nearest] if abs(nearest - counted) < _NEAR else counted


_LONGEST_QUARTERS = 1000
"""A single duration above this is damage: the longest note of all, a maxima, has 32."""


def walk_part(measures: list[Element]) -> PartFacts:
    """Read all bars of a part."""
    return _Walk().part(measures)


class _Walk:
    def __init__(self) -> None:
        self.facts = PartFacts()
        self.attributes = AttributesReader(self.facts)
        self.cursor = Cursor()
        self.bar = RawBar("", False)
        self.lengths: dict[tuple[object, ...], tuple[Fraction, Fraction]] = {}
        self.chord = 0
        self.chord_voice, self.chord_staff = "1", 1
        self.has_chord = False
        self.graces = Graces()

    def part(self, measures: list[Element]) -> PartFacts:
        for measure in measures:
            self._measure(measure)
        share_in_chords(self.facts.notes)
        join_rolls(self.facts.notes)
        return self.facts

    @property
    def index(self) -> int:
        """The index of the bar that is being read."""
        return len(self.facts.bars) - 1

    def _measure(self, measure: Element) -> None:
        number_text = clean(measure.get("number"))
        self.bar = RawBar(number_text, measure.get("implicit") == "yes")
        self.facts.bars.append(self.bar)
        self.cursor.to_bar_start()
        self.has_chord = False
        for element in measure:
            handle = _HANDLERS.get(element.tag)
            if handle:
                handle(self, element)
        self.graces.end_bar()
        self.bar.furthest = self.cursor.furthest

    # --- notes -------------------------------------------------------------------------------

    def note(self, element: Element) -> None:
        """A note, a rest or a chord note."""
        fields = note_fields(element)
        joined = fields.is_chord and self.has_chord
        if not joined:
            self._begin_chord(fields)
        counted, meant = self._length(fields)
        at = self.cursor.chord_at if joined else self.cursor.at
        if not joined and not fields.is_grace:
            self.cursor.note(counted, meant)
        if fields.is_rest:
            self.graces.settle(None)
            if not fields.is_hidden:
                staff, voice = self._staff(fields.staff, 1), fields.voice or "1"
                self.facts.rests.append(RestAt(self.index, at, staff, voice, meant))
        elif not self._is_left_out(fields):
            self._keep(fields, at, meant)

    def _begin_chord(self, fields: NoteFields) -> None:
        self.chord += 1
        self.has_chord = True
        self.chord_voice = fields.voice or "1"
        self.chord_staff = self._staff(fields.staff, 1)
        self.cursor.begin_chord()

    def _staff(self, text: str | None, otherwise: int) -> int:
        return whole(text, 1, 16) or otherwise

    def _length(self, fields: NoteFields) -> tuple[Fraction, Fraction]:
        """A note's length as counted and as meant; both 0 for a grace note."""
        if fields.is_grace:
            return Fraction(0), Fraction(0)
        divisions = self.attributes.divisions
        key = (fields.duration, fields.type, fields.dots, fields.tuplet, divisions)
        found = self.lengths.get(key)
        if found is None:
            found = written_quarters(fields, divisions)
            if found is None or not 0 < found[0] <= _LONGEST_QUARTERS:
                self.note_repair("a note's length was damaged and taken from its looks")
                nominal = nominal_quarters(fields) or Fraction(0)
                return nominal, nominal
            self.lengths[key] = found
        return found

    def _is_left_out(self, fields: NoteFields) -> bool:
        """Count a note that is not to be played from the page: hidden or unpitched."""
        facts = self.facts
        if fields.is_hidden:
            facts.hidden_notes += 1
        elif fields.pitch is None:
            facts.unpitched_notes += 1
        else:
            return False
        return True

    def _keep(self, fields: NoteFields, at: Fraction, length: Fraction) -> None:
        assert fields.pitch is not None
        staff = self._staff(fields.staff, self.chord_staff if fields.is_chord else 1)
        spelling = self._spelling(fields.pitch)
        if spelling is None:
            self.note_repair("a note without a readable pitch was left out")
            return
        if not length and not fields.is_grace:
            self.note_repair("a note without a readable length was left out")
            return
        sounding, octave_shift = self.attributes.find_sounding_pitch(spelling, staff)
        note = RawNote(
            self.index,
            len(self.facts.notes),
            at,
            length,
            sounding,
            staff,
            fields.voice or (self.chord_voice if fields.is_chord else "1"),
            self.chord,
            tie_start="start" in fields.ties or "continue" in fields.ties,
            tie_stop="stop" in fields.ties or "continue" in fields.ties,
            octave_shift=octave_shift,
            grace_quarters=(fields.is_grace and nominal_quarters(fields)) or Fraction(0),
            has_printed_sign=fields.has_sign,
            beams_to_next=fields.beams_to_next,
        )
        if fields.is_cue:
            note.marks.add(NoteMark.SMALL_PRINT)
        if fields.notations:
            read_notations(fields.notations, note)
        self.facts.staves = max(self.facts.staves, staff)
        self.facts.notes.append(note)
        if fields.is_grace:
            self.graces.small(note, fields.has_slash)
        else:
            self.graces.main(note)

    def _spelling(self, pitch: Element) -> Spelling | None:
        alter = pitch.findtext("alter")
        if alter and (number(alter) or Fraction(0)).denominator != 1:
            self.note_repair("a note between two keys was taken as the nearer key")
        return spell(pitch.findtext("step"), alter, pitch.findtext("octave"))

    # --- everything else ---------------------------------------------------------------------

    def backup(self, element: Element) -> None:
        """Move the cursor back."""
        self.graces.settle(None)
        self.has_chord = False
        if not self.cursor.back(self._move(element)):
            self.note_repair("a step back reached before the bar's beginning")

    def forward(self, element: Element) -> None:
        """Move the cursor on without a note."""
        self.graces.settle(None)
        self.has_chord = False
        self.cursor.forward(self._move(element))

    def _move(self, element: Element) -> Fraction:
        units = number(element.findtext("duration"))
        if units is None or not 0 <= units / self.attributes.divisions <= _LONGEST_QUARTERS:
            self.note_repair("a step in time was damaged and passed over")
            return Fraction(0)
        return units / self.attributes.divisions

    def attribute(self, element: Element) -> None:
        """Divisions, key, metre, clefs, staves, transposition."""
        if not self.attributes.read(element, self.bar, self.index, self.cursor.at):
            self.note_repair("a damaged key, metre, clef or division was passed over")

    def direction(self, element: Element) -> None:
        """Words, dynamics, tempo, octave lines."""
        divisions = self.attributes.divisions
        read_direction(element, self.facts, self.index, self.cursor.at, divisions)

    def harmony(self, element: Element) -> None:
        """A lead sheet's chord symbol, kept as words over its beat."""
        text = chord_symbol(element)
        if text:
            staff = whole(element.findtext("staff"), 1, 16) or 1
            self.facts.words.append(WordsAt(self.index, self.cursor.at, staff, text))

    def sound(self, element: Element) -> None:
        """A tempo for playback that stands by itself."""
        read_sound(element, self.facts, self.index, self.cursor.at)

    def barline(self, element: Element) -> None:
        """Repeats and endings."""
        read_barline(element, self.bar)

    def note_repair(self, what: str) -> None:
        """Note that something was put right in this bar."""
        bars = self.facts.repairs.setdefault(what, [])
        label = self.bar.number or str(self.index + 1)
        if label not in bars:
            bars.append(label)


_HANDLERS: dict[str, Callable[[_Walk, Element], None]] = {
    "note": _Walk.note,
    "backup": _Walk.backup,
    "forward": _Walk.forward,
    "attributes": _Walk.attribute,
    "direction": _Walk.direction,
    "harmony": _Walk.harmony,
    "sound": _Walk.sound,
    "barline": _Walk.barline,
}
