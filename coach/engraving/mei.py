"""A window as MEI: what the engraver is given, built from our own model of the score.

MEI is the Music Encoding Initiative's format (version 5, https://music-encoding.org/guidelines/v5).
Each note has our own id in it, :func:`note_id`, so that what is judged is found in what is drawn.

Only the window is written: the hands that are asked for, from its first onset to its landing. What
is in force where it cuts into a bar (clef, key, metre, accidentals) is written anew at its start.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from textwrap import wrap
from xml.etree.ElementTree import Element, SubElement, tostring

from coach.engraving.fingers import ABOVE_ID, BELOW_ID, FINGER_ID
from coach.score.model import Bar, Barline, Clef, Hand, LineKind, NoteMark, ScoreNote
from coach.score.notation import (
    BeamGroup,
    Head,
    Value,
    Written,
    clef_at,
    clef_changes,
    is_dynamic,
    split_length,
)

NAMESPACE = "http://www.music-encoding.org/ns/mei"
_ID = "{http://www.w3.org/XML/1998/namespace}id"
LANDING_COLOUR = "#888888"
"""The landing note's: it is arrived at, and its length doesn't count. Grey stands out from ink on
light and on dark ground."""

NOTE_COLUMNS, NOTE_LINES = 24, 3
"""Letters in a line of a note of one's own, and lines. Own choice: a picture of three notes has
room for so many letters; the whole note is told beside the music."""

_SHARED = {
    NoteMark.STACCATO: "stacc",
    NoteMark.STACCATISSIMO: "stacciss",
    NoteMark.TENUTO: "ten",
    NoteMark.ACCENT: "acc",
    NoteMark.MARCATO: "marc",
}
"""Marks of articulation, as MEI has them in ``@artic``."""
_OVER = {
    NoteMark.TRILL: "trill",
    NoteMark.MORDENT: "mordent",
    NoteMark.TURN: "turn",
    NoteMark.FERMATA: "fermata",
}
"""Signs that stand over a note as elements of their own."""
_ACCIDENTALS = {"#": "s", "b": "f", "n": "n", "x": "x", "bb": "ff"}
_SOUNDING = {-2: "ff", -1: "f", 1: "s", 2: "ss"}
_BARLINES = {
    Barline.SINGLE: "single",
    Barline.DOUBLE: "dbl",
    Barline.FINAL: "end",
    Barline.HEAVY: "heavy",
    Barline.DASHED: "dashed",
    Barline.DOTTED: "dotted",
    Barline.NONE: "invis",
}
_DURATIONS = {Fraction(16): "long", Fraction(8): "breve"}


def note_id(index: int, piece: int = 0) -> str:
    """The id of a window's note in what is drawn; of the pieces that ties join, the n-th."""
    return f"note-{index}" + (f"-{piece}" if piece else "")


@dataclass(slots=True)
class _Event:
    """What one layer has at one moment: heads on one stem, or a silence."""

    onset: Fraction
    length: Fraction
    value: Value
    heads: list[Head] = field(default_factory=list)
    is_seen: bool = True
    """False for a silence that another voice tells the time of."""
    fills_bar: bool = False
    """True for a rest of the whole bar."""


@dataclass(frozen=True, slots=True)
class _Span:
    """The part of a bar that is in sight."""

    bar: Bar
    start: Fraction
    end: Fraction

    def tstamp(self, onset: Fraction) -> str:
        """A moment in the metre's lower numbers from the span's start, 1 for the start itself."""
        return f"{float((onset - self.start) / self.bar.metre.unit_quarters) + 1:g}"


def write_mei(written: Written) -> str:
    """The window as an MEI document."""
    return _Document(written).to_text()


class _Document:
    """The window on its way into MEI."""

    def __init__(self, written: Written) -> None:
        self._written, self._score = written, written.score
        self._notes = written.excerpt.notes
        self._staves = sorted({head.staff for head in written.heads})
        self._words = 0
        """How many words are written by now."""
        self._pieces: dict[int, int] = {}
        """Of each head, by identity, which of its note's pieces it is."""
        seen: dict[int, int] = defaultdict(int)
        for head in written.heads:
            self._pieces[id(head)] = seen[head.note]
            seen[head.note] += 1
        self._beams = {
            (stem.onset_quarters, stem.staff, stem.voice): group
            for group in written.beams
            for stem in group.stems
        }

    def to_text(self) -> str:
        """The whole document."""
        mei = Element("mei", xmlns=NAMESPACE, meiversion="5.0")
        head = SubElement(SubElement(SubElement(mei, "meiHead"), "fileDesc"), "titleStmt")
        SubElement(head, "title")
        mdiv = SubElement(SubElement(SubElement(mei, "music"), "body"), "mdiv")
        score = SubElement(mdiv, "score")
        spans = self._spans
        self._write_definition(score, spans[0])
        section = SubElement(score, "section")
        for before, span in zip([None, *spans], spans, strict=False):
            if before and (change := _change(before.bar, span.bar)) is not None:
                section.append(change)
            self._write_measure(section, span, is_last=span is spans[-1])
        return '<?xml version="1.0" encoding="UTF-8"?>\n' + tostring(mei, encoding="unicode")

    @cached_property
    def _spans(self) -> tuple[_Span, ...]:
        return tuple(self._list_spans())

    def _list_spans(self) -> Iterator[_Span]:
        written = self._written
        ends = [
            head.onset_quarters + max(head.length_quarters, Fraction(1, 16))
            for head in written.heads
        ]
        end = max(*ends, written.last_quarters + Fraction(1, 16))
        for bar in written.bars:
            start = max(bar.onset_quarters, written.start_quarters)
            yield _Span(bar, start, min(bar.end_quarters, max(end, start)))

    def _write_definition(self, score: Element, first: _Span) -> None:
        definition = SubElement(score, "scoreDef", _key_and_metre(first.bar))
        braced = len(self._staves) > 1
        group = SubElement(
            definition, "staffGrp", {"symbol": "brace", "bar.thru": "true"} if braced else {}
        )
        for number, staff in enumerate(self._staves, start=1):
            clef = _clef(clef_at(self._score, staff, first.start), "clef.")
            SubElement(group, "staffDef", {"n": str(number), "lines": "5", **clef})

    # -- a measure --------------------------------------------------------------------------------

    def _write_measure(self, section: Element, span: _Span, *, is_last: bool) -> None:
        bar = span.bar
        measure = SubElement(section, "measure", n=bar.number)
        if bar.repeat_start and span.start == bar.onset_quarters:
            measure.set("left", "rptstart")
        cut = span.start > bar.onset_quarters or span.end < bar.end_quarters
        if cut or bar.length_quarters != bar.metre.bar_quarters:
            measure.set("metcon", "false")
        measure.set("right", self._barline(span, is_last=is_last))
        for number, staff in enumerate(self._staves, start=1):
            element = SubElement(measure, "staff", n=str(number))
            for at, layer in enumerate(self._layers(span, staff), start=1):
                self._write_layer(SubElement(element, "layer", n=str(at)), layer, staff, span)
        for number, staff in enumerate(self._staves, start=1):
            self._write_signs(measure, span, staff, str(number))
            self._write_lines(measure, span, staff, str(number))

    def _write_lines(self, measure: Element, span: _Span, staff: int, number: str) -> None:
        """Hairpins and pedal marks that begin here, or go on into the window's beginning."""
        spans = self._spans
        first, last = spans[0], spans[-1]
        for line in self._written.lines:
            start = max(line.start_quarters, first.start)
            end = min(line.end_quarters, last.end)
            if line.staff != staff or not span.start <= start < span.end or start >= end:
                continue
            if start >= self._written.excerpt.window.end_quarters:
                continue  # it begins where one arrives, and shapes what is not played
            end_at = next(at for at, one in enumerate(spans) if end <= one.end)
            bars = end_at - spans.index(span)
            about = {"tstamp": span.tstamp(start), "staff": number}
            until = f"{bars}m+{spans[end_at].tstamp(end)}"
            if line.kind is LineKind.PEDAL:
                SubElement(measure, "pedal", {**about, "dir": "down", "tstamp2": until})
                continue
            form = "cres" if line.kind is LineKind.CRESCENDO else "dim"
            SubElement(measure, "hairpin", {**about, "form": form, "tstamp2": until})

    def _barline(self, span: _Span, *, is_last: bool) -> str:
        bar = span.bar
        if is_last and span.end < bar.end_quarters and self._written.ends_cut:
            return "invis"
        return "rptend" if bar.repeat_end else _BARLINES[self._score.barline_after(bar)]

    def _layers(self, span: _Span, staff: int) -> list[list[_Event]]:
        """The events of each voice, the upper first; what overlaps in a voice has a layer more."""
        events: dict[tuple[Fraction, str, Fraction], _Event] = {}
        for head in self._written.heads:
            if head.staff == staff and not head.grace and self._is_in(span, head.onset_quarters):
                key = (head.onset_quarters, head.voice, head.length_quarters)
                event = events.setdefault(
                    key, _Event(head.onset_quarters, head.length_quarters, head.value)
                )
                event.heads.append(head)
        layers: list[tuple[str, list[_Event]]] = []
        for (_, voice, _), event in sorted(events.items(), key=lambda one: (one[0][0], -one[0][2])):
            for name, layer in layers:
                if name == voice and layer[-1].onset + layer[-1].length <= event.onset:
                    layer.append(event)
                    break
            else:
                layers.append((voice, [event]))
        layers.sort(key=lambda one: -_height(one[1]))
        rests = [
            rest
            for rest in self._written.rests
            if rest.staff == staff and self._is_in(span, rest.onset_quarters)
        ]
        if not layers:
            layers = [("", [])]
        for rest in rests:
            length = span.bar.length_quarters if rest.fills_bar else _quarters(rest.value)
            event = _Event(rest.onset_quarters, length, rest.value, fills_bar=rest.fills_bar)
            layers[0][1].append(event)
        return [sorted(layer, key=lambda event: event.onset) for _, layer in layers]

    def _is_in(self, span: _Span, onset: Fraction) -> bool:
        return span.start <= onset < span.bar.end_quarters

    # -- a layer ----------------------------------------------------------------------------------

    def _write_layer(
        self, layer: Element, events: Sequence[_Event], staff: int, span: _Span
    ) -> None:
        clefs = list(clef_changes(self._score, staff, span.start, self._written.last_quarters))
        clefs = [clef for clef in clefs if span.start < clef.onset_quarters < span.end]
        filled = list(_filled(events, span))
        for group in _tuplet_runs(filled):
            parent = layer
            tuplet = group[0].value.tuplet
            if tuplet:
                # A part of one (a landing) shows no digit: there is nothing to count.
                counted = (event.is_seen and not self._is_arrival(event) for event in group)
                seen = _is_full(group) and any(counted)
                shown = {} if seen else {"num.visible": "false", "bracket.visible": "false"}
                beamed = self._beamed_alone(group)
                parent = SubElement(
                    layer,
                    "tuplet",
                    {
                        "num": str(tuplet[0]),
                        "numbase": str(tuplet[1]),
                        "num.format": "count",
                        "bracket.visible": "false" if beamed else "true",
                        **_clear_of_fingers(group),
                        **shown,
                    },
                )
            self._write_events(parent, group, staff, clefs)

    def _beamed_alone(self, group: Sequence[_Event]) -> bool:
        beams = {id(beam) for event in group if (beam := self._beam_of(event))}
        return len(beams) == 1 and all(self._beam_of(event) for event in group)

    def _write_events(
        self, parent: Element, events: Sequence[_Event], staff: int, clefs: list[Clef]
    ) -> None:
        beam_element: Element | None = None
        beam_now: BeamGroup | None = None
        for event in events:
            while clefs and clefs[0].onset_quarters <= event.onset:
                into = beam_element if beam_element is not None else parent
                SubElement(into, "clef", _clef(clefs.pop(0)))
            beam = self._beam_of(event)
            if beam is not beam_now or beam is None:
                beam_now = beam
                joined = [one for one in events if beam and self._beam_of(one) is beam]
                beam_element = SubElement(parent, "beam") if len(joined) > 1 else None
            self._write_event(beam_element if beam_element is not None else parent, event, staff)

    def _beam_of(self, event: _Event) -> BeamGroup | None:
        if not event.heads or not event.value.flags:
            return None
        head = event.heads[0]
        group = self._beams.get((head.onset_quarters, head.staff, head.voice))
        return group if group and len(group.stems) > 1 else None

    def _write_event(self, parent: Element, event: _Event, staff: int) -> None:
        if not event.heads:
            kind = "rest" if event.is_seen else "space"
            if event.fills_bar:
                SubElement(parent, "mRest")
            else:
                SubElement(parent, kind, _duration(event.value))
            return
        voice, onset = event.heads[0].voice, event.onset
        self._write_graces(parent, onset, staff, voice, after=False)
        self._write_chord(parent, event.heads, _duration(event.value))
        self._write_graces(parent, onset, staff, voice, after=True)

    def _write_graces(
        self, parent: Element, onset: Fraction, staff: int, voice: str, *, after: bool
    ) -> None:
        graces: dict[int, list[Head]] = defaultdict(list)
        for head in self._written.heads:
            here = (head.onset_quarters, head.staff, head.voice) == (onset, staff, voice)
            if here and head.grace and head.after is after:
                graces[-head.grace].append(head)
        for _, heads in sorted(graces.items()):
            about = {"dur": "8", "grace": "unacc"}
            if any(NoteMark.SLASH in self._note(head).marks for head in heads):
                about["stem.mod"] = "1slash"
            self._write_chord(parent, heads, about)

    def _write_chord(self, parent: Element, heads: Sequence[Head], about: dict[str, str]) -> None:
        marks = {mark for head in heads if head.first for mark in self._note(head).marks}
        artic = " ".join(sorted(name for mark, name in _SHARED.items() if mark in marks))
        if artic:
            about = {**about, "artic": artic}
        if len(heads) == 1:
            SubElement(parent, "note", {**about, **self._about_head(heads[0])})
            return
        if all(self._is_landing(head) for head in heads):
            about = {**about, "color": LANDING_COLOUR}  # its stem and flags, too
        chord = SubElement(parent, "chord", about)
        for head in sorted(heads, key=lambda head: head.position):
            SubElement(chord, "note", self._about_head(head))

    def _about_head(self, head: Head) -> dict[str, str]:
        spelling = self._note(head).spelling
        about = {
            _ID: self._id(head),
            "pname": spelling.step.lower(),
            "oct": str(spelling.octave + head.octave_shift),
        }
        if head.accidental in _ACCIDENTALS:
            about["accid"] = _ACCIDENTALS[head.accidental]
        elif spelling.alter in _SOUNDING:
            about["accid.ges"] = _SOUNDING[spelling.alter]
        if self._note(head).is_small_print:
            about["cue"] = "true"
        if self._is_landing(head):
            about["color"] = LANDING_COLOUR
        return about

    def _is_arrival(self, event: _Event) -> bool:
        return bool(event.heads) and all(self._is_landing(head) for head in event.heads)

    def _is_landing(self, head: Head) -> bool:
        return head.onset_quarters == self._written.excerpt.landing_quarters and head.first

    def _id(self, head: Head) -> str:
        return note_id(head.note, self._pieces[id(head)])

    def _note(self, head: Head) -> ScoreNote:
        return self._notes[head.note]

    # -- what stands above and below --------------------------------------------------------------

    def _write_signs(self, measure: Element, span: _Span, staff: int, number: str) -> None:
        heads = [
            head
            for head in self._written.heads
            if head.staff == staff and self._is_in(span, head.onset_quarters)
        ]
        over: set[tuple[Fraction, NoteMark]] = set()
        for head in heads:
            self._write_tie(measure, head)
            if head.first:
                self._write_signs_of(measure, head, over)
        self._write_fingers(measure, heads)
        self._write_slurs(measure, heads)
        if span is self._spans[0]:
            self._write_slurs_from_before(measure, staff, number)
        self._write_octaves(measure, heads)
        self._write_arpeggios(measure, heads)
        self._write_directions(measure, span, staff, number)

    def _write_tie(self, measure: Element, head: Head) -> None:
        if not head.tied_on:
            return
        piece = self._pieces[id(head)] + 1
        seen = any(
            other.note == head.note and self._pieces[id(other)] == piece
            for other in self._written.heads
        )
        if seen:
            ends = {"startid": f"#{self._id(head)}", "endid": f"#{note_id(head.note, piece)}"}
            SubElement(measure, "tie", ends)
        else:
            SubElement(measure, "lv", startid=f"#{self._id(head)}")

    def _write_signs_of(
        self, measure: Element, head: Head, over: set[tuple[Fraction, NoteMark]]
    ) -> None:
        """``over``: the signs that stand over the staff by now; a chord has one of each."""
        note, at = self._note(head), f"#{self._id(head)}"
        for mark, name in _OVER.items():
            if mark in note.marks and (head.onset_quarters, mark) not in over:
                over.add((head.onset_quarters, mark))
                SubElement(measure, name, startid=at, place="above")

    def _write_fingers(self, measure: Element, heads: Sequence[Head]) -> None:
        """Over the right hand's notes and under the left hand's; of a chord the nearest first, for
        they are stacked as they are written."""
        fingered = [head for head in heads if head.first and head.fingering]
        sides = {Hand.RIGHT: ("above", 1), Hand.LEFT: ("below", -1)}
        for head in sorted(fingered, key=lambda one: one.position * sides[one.hand][1]):
            column = f"#{self._id(self._outermost(head))}"
            about = {_ID: FINGER_ID + self._id(head), "startid": column}
            fing = SubElement(measure, "fing", {**about, "place": sides[head.hand][0]})
            fing.text = head.fingering_words

    def _outermost(self, head: Head) -> Head:
        """The head at which all fingers of its chord stand in one column: beside each other, as
        the heads of a second are, they would not be in their order."""
        same = (head.onset_quarters, head.staff, head.voice, head.grace, head.after)
        chord = [
            one
            for one in self._written.heads
            if (one.onset_quarters, one.staff, one.voice, one.grace, one.after) == same
        ]
        pick = min if head.hand is Hand.LEFT else max
        return pick(chord, key=lambda one: one.position)

    def _write_slurs(self, measure: Element, heads: Sequence[Head]) -> None:
        """A slur from each note that begins one to the next of its voice that ends one."""
        for head in heads:
            note = self._note(head)
            if not head.first or NoteMark.SLUR_START not in note.marks:
                continue
            later = [
                other
                for other in self._written.heads
                if other.first
                and other.voice == head.voice
                and other.onset_quarters > head.onset_quarters
                and NoteMark.SLUR_END in self._note(other).marks
            ]
            same = [
                other
                for other in self._written.heads
                if other.voice == head.voice and other.onset_quarters > head.onset_quarters
            ]
            end = min(later, key=lambda other: other.onset_quarters, default=None)
            last = end or max(same, key=lambda other: other.onset_quarters, default=None)
            if last is not None:
                ends = {"startid": f"#{self._id(head)}", "endid": f"#{self._id(last)}"}
                SubElement(measure, "slur", ends)

    def _write_slurs_from_before(self, measure: Element, staff: int, number: str) -> None:
        """A slur that began before the window, from its beginning to the note that ends it.

        It may have begun on the other staff: a voice goes over both.
        """
        open_voices = {head.voice for head in self._written.heads}
        heads = (one for one in self._written.heads if one.first)
        for head in sorted(heads, key=lambda one: one.onset_quarters):
            marks = self._note(head).marks
            is_here = head.staff == staff and head.voice in open_voices
            if is_here and NoteMark.SLUR_END in marks:
                ends = {"tstamp": "0", "staff": number, "endid": f"#{self._id(head)}"}
                SubElement(measure, "slur", ends)
            if {NoteMark.SLUR_START, NoteMark.SLUR_END} & marks:
                open_voices.discard(head.voice)

    def _write_octaves(self, measure: Element, heads: Sequence[Head]) -> None:
        """An octave line over each run of notes that are written an octave nearer."""
        run: list[Head] = []
        for head in [*heads, None]:
            if head and run and head.octave_shift == run[0].octave_shift:
                run.append(head)
                continue
            if run and run[0].octave_shift:
                shift = run[0].octave_shift
                SubElement(
                    measure,
                    "octave",
                    {
                        "dis": str(1 + 7 * abs(shift)),
                        "dis.place": "above" if shift < 0 else "below",
                        "startid": f"#{self._id(run[0])}",
                        "endid": f"#{self._id(run[-1])}",
                    },
                )
            run = [head] if head else []

    def _write_arpeggios(self, measure: Element, heads: Sequence[Head]) -> None:
        rolled: dict[Fraction, list[str]] = defaultdict(list)
        for head in heads:
            if head.first and NoteMark.ARPEGGIO in self._note(head).marks:
                rolled[head.onset_quarters].append(f"#{self._id(head)}")
        for ids in rolled.values():
            SubElement(measure, "arpeg", plist=" ".join(ids))

    def _write_directions(self, measure: Element, span: _Span, staff: int, number: str) -> None:
        tempos = {(mark.onset_quarters, mark.words) for mark in self._score.tempos}
        for one in self._written.directions:
            if (one.onset_quarters, one.text) in tempos:
                continue  # the same words, which the tempo says
            if one.staff == staff and span.start <= one.onset_quarters < span.end:
                name = "dynam" if is_dynamic(one) else "dir"
                self._write_words(measure, name, span, one.onset_quarters, number, one.text)
        if staff != self._staves[0]:
            return
        first = self._spans[0]
        for note in self._score.own_notes_in(
            first.start, self._written.excerpt.window.end_quarters
        ):
            start = max(note.start_quarters, first.start)
            if span.start <= start < span.end:
                for words in reversed(wrap_note(note.words)):  # the first one ends up highest
                    self._write_words(measure, "dir", span, start, number, words, above=True)
        for mark in self._score.tempos:
            if mark.words and span.start <= mark.onset_quarters < span.end:
                onset = mark.onset_quarters
                self._write_words(measure, "tempo", span, onset, number, mark.words, above=True)

    def _write_words(
        self,
        measure: Element,
        name: str,
        span: _Span,
        onset: Fraction,
        staff: str,
        words: str,
        *,
        above: bool = False,
    ) -> None:
        self._words += 1
        about = {
            _ID: f"{ABOVE_ID if above else BELOW_ID}{self._words}",
            "tstamp": span.tstamp(onset),
            "staff": staff,
            "place": "above" if above else "below",
        }
        SubElement(measure, name, about).text = words


def wrap_note(words: str) -> list[str]:
    """A note of one's own in lines that a narrow picture has room for."""
    return wrap(words, NOTE_COLUMNS, max_lines=NOTE_LINES, placeholder=" …")


def _clear_of_fingers(group: Sequence[_Event]) -> dict[str, str]:
    """A tuplet's digit stands on the side of the staff where no fingers stand: in a row with them
    it would be read as one of them."""
    heads = [head for event in group for head in event.heads]
    if not any(head.fingering for head in heads):
        return {}
    return {"num.place": "below" if heads[0].hand is Hand.RIGHT else "above"}


def _change(before: Bar, bar: Bar) -> Element | None:
    about: dict[str, str] = {}
    if bar.key_fifths != before.key_fifths:
        about |= _key(bar)
    if bar.metre != before.metre:
        about |= _metre(bar)
    return Element("scoreDef", about) if about else None


def _key_and_metre(bar: Bar) -> dict[str, str]:
    return {**_key(bar), **_metre(bar)}


def _key(bar: Bar) -> dict[str, str]:
    fifths = bar.key_fifths
    return {"keysig": "0" if not fifths else f"{abs(fifths)}{'s' if fifths > 0 else 'f'}"}


def _metre(bar: Bar) -> dict[str, str]:
    metre = bar.metre
    upper = "+".join(map(str, metre.groups)) if metre.groups else str(metre.beats)
    return {"meter.count": upper, "meter.unit": str(metre.beat_type)}


def _clef(clef: Clef, prefix: str = "") -> dict[str, str]:
    about = {f"{prefix}shape": clef.sign, f"{prefix}line": str(clef.line)}
    if clef.octave:
        about[f"{prefix}dis"] = str(1 + 7 * abs(clef.octave))
        about[f"{prefix}dis.place"] = "above" if clef.octave > 0 else "below"
    return about


def _duration(value: Value) -> dict[str, str]:
    base = value.base_quarters
    about = {"dur": _DURATIONS.get(base, str(int(4 / base)) if base <= 4 else "breve")}
    if value.dots:
        about["dots"] = str(value.dots)
    return about


def _quarters(value: Value) -> Fraction:
    length = value.base_quarters * (2 - Fraction(1, 2**value.dots))
    return length * Fraction(value.tuplet[1], value.tuplet[0]) if value.tuplet else length


def _height(events: Iterable[_Event]) -> float:
    positions = [head.position for event in events for head in event.heads]
    return sum(positions) / len(positions) if positions else 0.0


def _filled(events: Sequence[_Event], span: _Span) -> Iterator[_Event]:
    """The events of a layer with silences that nobody sees in its gaps."""
    at = span.start
    for event in events:
        yield from _silence(at, event.onset)
        yield event
        at = max(at, event.onset + event.length)
    yield from _silence(at, span.end)


def _silence(start: Fraction, end: Fraction) -> Iterator[_Event]:
    if end <= start:
        return
    for length, value in split_length(end - start):
        yield _Event(start, length, value, is_seen=False)
        start += length


def _tuplet_runs(events: Sequence[_Event]) -> Iterator[list[_Event]]:
    """Runs of events of one tuplet, each as long as its notes fill plain values; all others
    together."""
    run: list[_Event] = []
    for event in events:
        if run and (event.value.tuplet != run[0].value.tuplet or _is_full(run)):
            yield run
            run = []
        run.append(event)
    if run:
        yield run


def _is_full(run: Sequence[_Event]) -> bool:
    tuplet = run[0].value.tuplet
    if tuplet is None:
        return False
    unit = min(event.value.base_quarters for event in run)
    whole = unit * tuplet[1]
    length = sum((_quarters(event.value) for event in run), Fraction(0))
    return length % whole == 0
