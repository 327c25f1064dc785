"""A window as MEI: what the engraver is given, built from our own model of the score.

MEI is the Music Encoding Initiative's format (version 5, https://music-encoding.org/guidelines/v5).
Each note has our own id in it, :func:`note_id`, so that what is judged is found in what is drawn.

Only the window is written: the hands that are asked for, from its first onset to its landing. What
is in force where it cuts into a bar (clef, key, metre, accidentals) is written anew at its start.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from textwrap import wrap
from xml.etree.ElementTree import Element, SubElement, tostring

from coach.engraving.fingers import ABOVE_ID, BELOW_ID, FINGER_ID
from coach.score.model import (
    Bar,
    Barline,
    Clef,
    Hand,
    LineKind,
    NoteMark,
    PrintedLine,
    ScoreNote,
)
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

LONG_PEDAL_QUARTERS = 2
"""A pedal mark is a line from this length on behind the word, else a bracket alone. Own choice,
because the word is about as wide as a quarter note's place, and would hide where the line ends."""

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
_MOST_STROKES = 6
"""Through one stem (MEI 5, data.STEMMODIFIER)."""
_MOST_LAYERS = 4
"""Voices on a staff that the engraver keeps apart (seen with verovio 6.4)."""
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


@dataclass(eq=False, slots=True)
class _Group:
    """A beam, a tuplet or a tremolo between two that is being written."""

    beam: BeamGroup | None = None
    tuplet: bool = False
    tremolo: bool = False
    about: dict[str, str] = field(default_factory=dict)


_ClefChange = tuple[Fraction, dict[str, str]]
"""A clef, and where it stands."""


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
        self._notes = (*written.excerpt.notes, *written.held_notes)
        self._heads = (*written.heads, *written.held)
        self._staves = sorted({head.staff for head in self._heads})
        self._words = 0
        """How many words are written by now."""
        self._pieces: dict[int, int] = {}
        """Of each head, by identity, which of its note's pieces it is."""
        seen: dict[int, int] = defaultdict(int)
        for head in self._heads:
            self._pieces[id(head)] = seen[head.note]
            seen[head.note] += 1
        self._beams = {
            (stem.onset_quarters, stem.staff, stem.voice): (group, place)
            for group in written.beams
            for place, stem in enumerate(group.stems)
        }
        """By a stem its beam, and its place on it."""
        self._upper = {(stem.staff, stem.voice) for stem in written.stems if stem.up}
        self._touches = {
            (one.staff, one.voice, one.onset_quarters, one.grace, one.after): one.marks
            for one in written.touches
        }
        self._slurs = tuple(_pair_slurs(written, self._marks_at))

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
            head.onset_quarters + max(head.length_quarters, Fraction(1, 16)) for head in self._heads
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
            clefs = self._clefs_of(span, staff, is_last=is_last)
            for at, layer in enumerate(self._layers(span, staff), start=1):
                into = SubElement(element, "layer", n=str(at))
                self._write_layer(into, layer, span, clefs if at == 1 else _same(clefs))
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
                self._write_pedal(measure, line, {**about, "dir": "down", "tstamp2": until})
                continue
            form = "cres" if line.kind is LineKind.CRESCENDO else "dim"
            SubElement(measure, "hairpin", {**about, "form": form, "tstamp2": until})

    def _write_pedal(self, measure: Element, line: PrintedLine, about: dict[str, str]) -> None:
        is_long = line.end_quarters - line.start_quarters >= LONG_PEDAL_QUARTERS
        SubElement(measure, "pedal", {**about, "form": "pedline" if is_long else "line"})

    def _barline(self, span: _Span, *, is_last: bool) -> str:
        bar = span.bar
        if is_last and span.end < bar.end_quarters and self._written.ends_cut:
            return "invis"
        return "rptend" if bar.repeat_end else _BARLINES[self._score.barline_after(bar)]

    def _layers(self, span: _Span, staff: int) -> list[list[_Event]]:
        """The events of each voice, the upper first; what overlaps in a voice has a layer more."""
        events: dict[tuple[Fraction, str, Fraction], _Event] = {}
        for head in self._heads:
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
        layers.sort(key=lambda one: ((staff, one[0]) not in self._upper, -_height(one[1])))
        found = [layer for _, layer in layers] or [[]]
        for rest in (*self._written.rests, *self._written.inner_rests):
            if rest.staff == staff and self._is_in(span, rest.onset_quarters):
                length = span.bar.length_quarters if rest.fills_bar else _quarters(rest.value)
                event = _Event(rest.onset_quarters, length, rest.value, fills_bar=rest.fills_bar)
                _put_into_layer(found, event, from_below=rest.up is False)
        return found

    def _clefs_of(self, span: _Span, staff: int, *, is_last: bool) -> list[_ClefChange]:
        """The changes of clef in a bar; one at a barline stands before it (common practice)."""
        changes = clef_changes(self._score, staff, span.start, self._written.last_quarters)
        return [
            (clef.onset_quarters, {_ID: f"clef-{staff}-{clef.onset_quarters}", **_clef(clef)})
            for clef in changes
            if clef.onset_quarters < span.end or (clef.onset_quarters == span.end and not is_last)
        ]

    def _is_in(self, span: _Span, onset: Fraction) -> bool:
        return span.start <= onset < span.bar.end_quarters

    # -- a layer ----------------------------------------------------------------------------------

    def _write_layer(
        self, layer: Element, events: Sequence[_Event], span: _Span, changes: Sequence[_ClefChange]
    ) -> None:
        clefs = list(changes)
        filled = list(_filled(events, span, [onset for onset, _ in clefs]))
        opened: list[tuple[_Group, Element]] = []
        for event, groups in zip(filled, self._groups_of(filled), strict=True):
            while [group for group, _ in opened] != groups[: len(opened)]:
                opened.pop()
            into = opened[-1][1] if opened else layer
            while clefs and clefs[0][0] <= event.onset:
                SubElement(into, "clef", clefs.pop(0)[1])
            self._write_graces(into, event, after=False)  # before a beam: none begins with them
            for group in groups[len(opened) :]:
                name = "tuplet" if group.tuplet else "fTrem" if group.tremolo else "beam"
                into = SubElement(into, name, group.about)
                opened.append((group, into))
            if groups and groups[-1].tremolo:  # each is written with the length of both
                event = replace(event, value=_doubled(event.value))
            self._write_event(into, event)
            self._write_graces(into, event, after=True)
        for _, about in clefs:
            SubElement(layer, "clef", about)

    def _groups_of(self, events: Sequence[_Event]) -> list[list[_Group]]:
        """The beam and the tuplet that each event is in, the outer one first.

        A tuplet stands in a beam that joins all of its notes, perhaps to others; else a beam ends
        with its tuplet.
        """
        found: list[list[_Group]] = []
        beam: _Group | None = None
        beams = iter(self._beams_over(events))
        for run in _tuplet_runs(events):
            joined = [next(beams) for _ in run]
            inner = bool(run[0].value.tuplet) and (None in joined or len(set(map(id, joined))) > 1)
            beam = None if inner else beam
            tuplet = self._make_tuplet(run, joined) if run[0].value.tuplet else None
            for one in joined:
                if beam is None or beam.beam is not one:
                    beam = _Group(beam=one) if one else None
                groups = [tuplet, beam] if inner else [beam, tuplet]
                found.append([group for group in groups if group])
            beam = None if inner else beam
        for at, strokes in self._find_tremolos(events):
            tremolo = _Group(tremolo=True, about={"beams": str(strokes)})
            found[at : at + 2] = [[tremolo], [tremolo]]
        alone = Counter(id(group) for groups in found for group in groups)
        return [
            [group for group in groups if group.tuplet or alone[id(group)] > 1] for groups in found
        ]

    def _find_tremolos(self, events: Sequence[_Event]) -> Iterator[tuple[int, int]]:
        """Where a tremolo between two begins, and its strokes: both have to be in sight."""
        for at, (event, following) in enumerate(pairwise(events)):
            notes = [self._note(head) for head in event.heads]
            begins = any(NoteMark.TREMOLO_TO_NEXT in note.marks for note in notes)
            strokes = max((note.strokes for note in notes), default=0)
            if begins and strokes and following.heads and following.value == event.value:
                yield at, min(strokes, _MOST_STROKES)

    def _make_tuplet(self, run: Sequence[_Event], beams: Sequence[BeamGroup | None]) -> _Group:
        tuplet = run[0].value.tuplet
        assert tuplet
        about = {
            "num": str(tuplet[0]),
            "numbase": str(tuplet[1]),
            "num.format": "count",
            **_clear_of_fingers(run),
        }
        own_beam = beams[0] and all(one is beams[0] for one in beams)
        has_beam = bool(own_beam and beams[0] and len(beams[0].stems) == len(run))
        # A part of one (a landing) shows no digit: there is nothing to count.
        counted = (event.is_seen and not self._is_arrival(event) for event in run)
        is_shown = _is_full(run) and any(counted)
        about["bracket.visible"] = "true" if is_shown and not has_beam else "false"
        if not is_shown:
            about["num.visible"] = "false"
        return _Group(tuplet=True, about=about)

    def _beam_of(self, event: _Event) -> BeamGroup | None:
        if not event.heads or not event.value.flags:
            return None
        group, _ = self._place_on_beam(event.heads[0])
        return group if group and len(group.stems) > 1 else None

    def _place_on_beam(self, head: Head) -> tuple[BeamGroup | None, int]:
        """The beam of a head's stem, and its place on it; None where it has none."""
        return self._beams.get((head.onset_quarters, head.staff, head.voice), (None, 0))

    def _beams_over(self, events: Sequence[_Event]) -> list[BeamGroup | None]:
        """The beam that each event is under: a rest between two notes of one is under it, too."""
        beams = [self._beam_of(event) for event in events]
        last: dict[int, int] = {}
        for at, beam in enumerate(beams):
            if beam is None:
                continue
            before = last.get(id(beam), at)
            if not any(event.heads for event in events[before + 1 : at]):
                beams[before:at] = [beam] * (at - before)
            last[id(beam)] = at
        return beams

    def _break_after(self, head: Head) -> dict[str, str]:
        """Where fewer beams lead on from a note than both have flags: so many."""
        group, place = self._place_on_beam(head)
        if group is None or place + 1 == len(group.stems):
            return {}
        count = group.count_between(place)
        flags = [stem.value.flags for stem in group.stems[place : place + 2]]
        return {"breaksec": str(count)} if count < min(flags) else {}

    def _write_event(self, parent: Element, event: _Event) -> None:
        if event.heads:
            about = _duration(event.value) | self._break_after(event.heads[0])
            self._write_chord(parent, event.heads, about)
        elif event.fills_bar:
            SubElement(parent, "mRest")
        else:
            SubElement(parent, "rest" if event.is_seen else "space", _duration(event.value))

    def _write_graces(self, parent: Element, event: _Event, *, after: bool) -> None:
        """Small notes as printed; else one is an eighth, several have two beams."""
        if not event.heads:
            return
        main = event.heads[0]
        graces: dict[int, list[Head]] = defaultdict(list)
        for head in self._written.heads:
            here = (head.onset_quarters, head.staff, head.voice) == (
                main.onset_quarters,
                main.staff,
                main.voice,
            )
            if here and head.grace and head.after is after:
                graces[-head.grace].append(head)
        is_beamed = len(graces) > 1 and all(
            head.value.flags for heads in graces.values() for head in heads
        )
        into = SubElement(parent, "beam") if is_beamed else parent
        for _, heads in sorted(graces.items()):
            is_said = self._note(heads[0]).grace_quarters > 0
            value = heads[0].value if is_said else _SMALL_VALUES[is_beamed]
            about = {**_duration(value), "grace": "unacc"}
            has_slash = any(NoteMark.SLASH in self._note(head).marks for head in heads)
            if has_slash and into is parent:
                about["stem.mod"] = "1slash"
            self._write_chord(into, heads, about)

    def _write_chord(self, parent: Element, heads: Sequence[Head], about: dict[str, str]) -> None:
        marks = {mark for head in heads if head.first for mark in self._note(head).marks}
        artic = " ".join(sorted(name for mark, name in _SHARED.items() if mark in marks))
        if artic:
            about = {**about, "artic": artic}
        strokes = max(self._note(head).strokes for head in heads)
        if strokes and NoteMark.TREMOLO_TO_NEXT not in marks:
            about = {**about, "stem.mod": f"{min(strokes, _MOST_STROKES)}slash"}
        if len(heads) == 1:
            SubElement(parent, "note", {**about, **self._about_head(heads[0])})
            return
        if all(self._is_grey(head) for head in heads):
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
        if self._is_grey(head):
            about["color"] = LANDING_COLOUR
        return about

    def _is_grey(self, head: Head) -> bool:
        """Whether it is not asked for as it stands: the landing, and what is held from before."""
        return self._is_landing(head) or head.note >= len(self._written.excerpt.notes)

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
        held = [
            head
            for head in self._written.held
            if head.staff == staff and self._is_in(span, head.onset_quarters)
        ]
        for head in held:
            if not self._pieces[id(head)]:
                ends = {"tstamp": "0", "staff": number, "endid": f"#{self._id(head)}"}
                SubElement(measure, "tie", ends)
            self._write_tie(measure, head)
        over: set[tuple[Fraction, NoteMark]] = set()
        for head in heads:
            self._write_tie(measure, head)
            self._write_signs_of(measure, head, over)
        self._write_fingers(measure, heads)
        self._write_slurs(measure, span, staff, number)
        self._write_octaves(measure, heads)
        self._write_arpeggios(measure, span, staff)
        self._write_directions(measure, span, staff, number)

    def _write_tie(self, measure: Element, head: Head) -> None:
        if not head.tied_on:
            return
        piece = self._pieces[id(head)] + 1
        seen = any(
            other.note == head.note and self._pieces[id(other)] == piece for other in self._heads
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
        marks, at = self._marks_at(head), f"#{self._id(head)}"
        for mark, name in _OVER.items():
            if mark in marks and (head.onset_quarters, mark) not in over:
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

    def _marks_at(self, head: Head) -> frozenset[NoteMark]:
        """What stands at this head; a fermata at the last of the pieces that ties join."""
        key = head.staff, head.voice, head.onset_quarters, head.grace, head.after
        return self._touches.get(key, frozenset())

    def _write_slurs(self, measure: Element, span: _Span, staff: int, number: str) -> None:
        """Those that begin here; in the first bar also those that lead into the window. One that
        goes on after it is open."""
        is_first, last = span is self._spans[0], self._spans[-1]
        for start, end in self._slurs:
            known = start or end
            if known is None or known.staff != staff:
                continue
            if start is None and end is not None and is_first:
                about = {"tstamp": "0", "staff": number, "endid": f"#{self._id(end)}"}
            elif start is None or not self._is_in(span, start.onset_quarters):
                continue
            elif end is not None:
                about = {"startid": f"#{self._id(start)}", "endid": f"#{self._id(end)}"}
            else:
                until = f"{len(self._spans) - 1 - self._spans.index(span)}m+{last.tstamp(last.end)}"
                about = {"startid": f"#{self._id(start)}", "staff": number, "tstamp2": until}
            SubElement(measure, "slur", about)

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

    @cached_property
    def _rolls(self) -> Mapping[tuple[Fraction, int, bool], list[str]]:
        """The heads of each arpeggio, by its onset, the staff that it is written with, and whether
        it goes through both: then it is written with the upper one."""
        out: dict[tuple[Fraction, int, bool], list[str]] = defaultdict(list)
        for head in self._written.heads:
            marks = self._note(head).marks
            if head.first and NoteMark.ARPEGGIO in marks:
                is_across = NoteMark.ROLLED_ACROSS in marks
                staff = self._staves[0] if is_across else head.staff
                out[head.onset_quarters, staff, is_across].append(f"#{self._id(head)}")
        return out

    def _write_arpeggios(self, measure: Element, span: _Span, staff: int) -> None:
        for (onset, of_staff, _), ids in self._rolls.items():
            if of_staff == staff and self._is_in(span, onset):
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


def _pair_slurs(
    written: Written, marks_at: Callable[[Head], frozenset[NoteMark]]
) -> Iterator[tuple[Head | None, Head | None]]:
    """The beginnings and ends of slurs, each with its other end, or None where that is not in
    sight. A slur within a voice is looked for first; then those that go from voice to voice."""
    opened: dict[str, list[Head]] = defaultdict(list)
    ends: list[Head] = []
    seen: set[tuple[int, str, _When]] = set()
    for head in sorted(written.heads, key=_when):
        place = head.staff, head.voice, _when(head)
        if place in seen:  # of a chord one
            continue
        seen.add(place)
        marks = marks_at(head)
        if NoteMark.SLUR_END in marks:
            if opened[head.voice]:
                yield opened[head.voice].pop(), head
            else:
                ends.append(head)
        if NoteMark.SLUR_START in marks:
            opened[head.voice].append(head)
    starts = [head for heads in opened.values() for head in heads]
    for end in ends:
        before = [one for one in starts if _when(one) < _when(end) and _may_join(written, one, end)]
        start = max(before, key=_when, default=None)
        if start is not None:
            starts.remove(start)
        yield start, end
    landing = written.excerpt.landing_quarters
    yield from ((start, None) for start in starts if start.onset_quarters != landing)


_When = tuple[Fraction, int, int]


def _when(head: Head) -> _When:
    """The order in which heads of one voice are played."""
    if head.grace:
        return head.onset_quarters, 2 if head.after else 0, -head.grace
    return head.onset_quarters, 1, 0


def _may_join(written: Written, start: Head, end: Head) -> bool:
    """Whether a slur may lead from one voice to the other: it does not go on in the first, and did
    not come in the second."""
    inside = {NoteMark.UNDER_SLUR, NoteMark.SLUR_END}
    notes = written.excerpt.notes
    for head in written.heads:
        marks = notes[head.note].marks
        if head.voice == start.voice and _when(head) > _when(end) and inside & marks:
            return False
        if head.voice == end.voice and _when(head) < _when(start) and NoteMark.UNDER_SLUR in marks:
            return False
    return True


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


_SMALL_VALUES = (Value(Fraction(1, 2)), Value(Fraction(1, 4)))
"""Of small notes of which nobody says another: of one, and of those on a beam. Common practice."""


def _duration(value: Value) -> dict[str, str]:
    base = value.base_quarters
    about = {"dur": _DURATIONS.get(base, str(int(4 / base)) if base <= 4 else "breve")}
    if value.dots:
        about["dots"] = str(value.dots)
    return about


def _doubled(value: Value) -> Value:
    return replace(value, base_quarters=2 * value.base_quarters)


def _quarters(value: Value) -> Fraction:
    length = value.base_quarters * (2 - Fraction(1, 2**value.dots))
    return length * Fraction(value.tuplet[1], value.tuplet[0]) if value.tuplet else length


def _put_into_layer(layers: list[list[_Event]], rest: _Event, *, from_below: bool) -> None:
    """Where nothing of that layer sounds: a rest of the lower voice in the lowest such layer."""
    for layer in reversed(layers) if from_below else layers:
        if all(
            one.onset + one.length <= rest.onset or rest.onset + rest.length <= one.onset
            for one in layer
        ):
            layer.append(rest)
            layer.sort(key=lambda one: one.onset)
            return
    if len(layers) < _MOST_LAYERS:
        layers.insert(len(layers) if from_below else 0, [rest])


def _height(events: Iterable[_Event]) -> float:
    positions = [head.position for event in events for head in event.heads]
    return sum(positions) / len(positions) if positions else 0.0


def _same(clefs: Iterable[_ClefChange]) -> list[_ClefChange]:
    """The changes of clef in a further layer: only the first one draws them."""
    return [(onset, {"sameas": f"#{about[_ID]}"}) for onset, about in clefs]


def _filled(events: Sequence[_Event], span: _Span, cuts: Sequence[Fraction]) -> Iterator[_Event]:
    """The events of a layer with silences that nobody sees in its gaps, none over a cut."""
    at = span.start
    for event in events:
        yield from _silences(at, event.onset, cuts)
        yield event
        at = max(at, event.onset + event.length)
    yield from _silences(at, span.end, cuts)


def _silences(start: Fraction, end: Fraction, cuts: Sequence[Fraction]) -> Iterator[_Event]:
    for cut in sorted({cut for cut in cuts if start < cut < end} | {end}):
        yield from _silence(start, cut)
        start = cut


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
