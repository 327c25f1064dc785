"""Bars: their metres, keys and clefs, their numbers, barlines and repeats."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from xml.etree.ElementTree import Element

from coach.score.metre import COMMON_TIME, Metre
from coach.score.model import Bar, Barline
from coach.score.pitch import STEPS, Spelling
from coach.score.reading.musicxml.facts import ClefAt, PartFacts, RawBar
from coach.score.reading.safe import clean, number, whole

# Time signatures out of MusicXML.
#
# MusicXML ``attributes``: divisions, key, metre, staves, clefs, transposition.


_MOST = 256
"""Of beats in a bar, and of beats in a whole note. Own choice: far beyond print."""
_MOST_PASSES = 16
"""A sign that asks for more counts as one that doesn't say. Own choice: no song has more verses."""


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


_MOST_STAVES = 16
"""Of one part. Own choice: an organ has three."""
_USUAL_LINES = {"G": 2, "F": 4, "C": 3}


class AttributesReader:
    """What holds from one ``attributes`` element to the next in a part."""

    def __init__(self, facts: PartFacts) -> None:
        self._facts = facts
        self.divisions = Fraction(1)
        """Units in a quarter note; 1 until the file says otherwise."""
        self._transposes: dict[int, tuple[int, int | None, int]] = {}

    def read(self, element: Element, bar: RawBar, index: int, at: Fraction) -> bool:
        """Take over an ``attributes`` element that stands at ``at``; False where damaged."""
        sound = True
        for child in element:
            if child.tag == "divisions":
                sound &= self._divisions(child)
            elif child.tag == "time":
                sound &= self._time(child, bar, at)
            elif child.tag == "key":
                self._key(child, bar, at)
            elif child.tag == "clef":
                self._clef(child, index, at)
            elif child.tag == "staves":
                staves = whole(child.text, 1, _MOST_STAVES)
                self._facts.staves = max(self._facts.staves, staves or 1)
            elif child.tag == "transpose":
                self._transpose(child)
            elif child.tag == "staff-details":
                self._staff_details(child, index)
        return sound

    def _divisions(self, element: Element) -> bool:
        divisions = number(element.text)
        if divisions is None or divisions <= 0:
            return False
        self.divisions = divisions
        return True

    def _time(self, element: Element, bar: RawBar, at: Fraction) -> bool:
        try:
            metre = read_time(element)
        except ValueError:
            return False
        staff = whole(element.get("number"), 1, _MOST_STAVES) or 0
        (bar.late_metres if at else bar.metres)[staff] = metre
        return True

    def _key(self, element: Element, bar: RawBar, at: Fraction) -> None:
        fifths = whole(element.findtext("fifths"), -14, 14)
        staff = whole(element.get("number"), 1, _MOST_STAVES) or 1
        if fifths is None or staff > 1:
            return
        if at:
            bar.late_fifths = fifths
        else:
            bar.fifths = fifths

    def _clef(self, element: Element, index: int, at: Fraction) -> None:
        sign = (element.findtext("sign") or "").strip().upper()
        if sign not in _USUAL_LINES or element.get("additional") == "yes":
            return
        line = whole(element.findtext("line"), -10, 15) or _USUAL_LINES[sign]
        staff = whole(element.get("number"), 1, _MOST_STAVES) or 1
        octave = whole(element.findtext("clef-octave-change"), -4, 4) or 0
        self._facts.clefs.append(ClefAt(index, at, staff, sign, line, octave))

    def _transpose(self, element: Element) -> None:
        chromatic = number(element.findtext("chromatic")) or Fraction(0)
        diatonic = whole(element.findtext("diatonic"), -70, 70)
        octaves = whole(element.findtext("octave-change"), -10, 10) or 0
        staff = whole(element.get("number"), 1, _MOST_STAVES) or 0
        self._transposes[staff] = (round(chromatic), diatonic, octaves)

    def _staff_details(self, element: Element, index: int) -> None:
        """Remember a staff that is never to be seen (shown later, it counts as seen)."""
        staff = whole(element.get("number"), 1, _MOST_STAVES) or 1
        if (element.findtext("staff-type") or "").strip() == "ossia":
            self._facts.ossia_staves.add(staff)
        seen = element.get("print-object")
        if seen == "no" and index == 0:
            self._facts.hidden_staves.add(staff)
        elif seen == "yes":
            self._facts.hidden_staves.discard(staff)

    def find_sounding_pitch(self, written: Spelling, staff: int) -> tuple[Spelling, int]:
        """How a written pitch sounds, and the octaves from there back to where it is written.

        MusicXML 4.0: the values of ``transpose`` are added to the written pitch.
        """
        transpose = self._transposes.get(staff, self._transposes.get(0))
        if transpose is None:
            return written, 0
        chromatic, diatonic, octaves = transpose
        if not chromatic and not diatonic:
            return Spelling(written.step, written.alter, written.octave + octaves), -octaves
        key = min(max(written.midi + chromatic + 12 * octaves, 0), 127)
        if diatonic is None:
            return Spelling.of(key), -octaves
        octave, step = divmod(written.diatonic + diatonic + 7 * octaves, 7)
        natural = Spelling(STEPS[step], 0, octave)
        return Spelling(natural.step, key - natural.midi, octave), -octaves


# Bars with their place in the piece, from what every part says of them.
#
# A bar is as long as the furthest position that any part reaches in it, or as its metre where the
# two differ by less than an exporter's rounding. So a cadenza lengthens its bar, a pickup shortens
# it, and a song's voice line keeps the piano's bars apart even where the piano is silent.
#
# MusicXML barlines: repeats and endings, kept as printed and never expanded.


_ROUNDING = Fraction(1, 16)
"""Quarters. Own choice: a 64th note, since an exporter's rounding adds up to less in a bar, and no
bar is written with a 64th too many."""


def build_bars(everyone: Sequence[PartFacts], chosen: Sequence[PartFacts]) -> list[Bar]:
    """The bars of the piece; metre, key and numbers are those of the chosen parts."""
    bars: list[Bar] = []
    metres = _Metres(chosen)
    passes = _Endings()
    fifths = 0
    onset = Fraction(0)
    for index in range(max(len(part.bars) for part in everyone)):
        mine = [part.bars[index] for part in chosen if index < len(part.bars)]
        metres.begin(index)
        reached = max(part.bars[index].furthest for part in everyone if index < len(part.bars))
        length = metres.snap_length(reached)
        metre = metres.for_length(length)
        head = mine[0] if mine else RawBar("", False)
        fifths = _first([bar.fifths for bar in mine], fifths)
        bar = Bar(
            index,
            head.number,
            onset,
            length,
            metre,
            fifths,
            _lead(bars, length, metre, head.implicit),
            any(raw.repeat_start for raw in mine),
            any(raw.repeat_end for raw in mine),
            max((raw.passes for raw in mine), default=0),
            passes.name_ending(mine),
            _section(everyone, index),
            barline=_barline(chosen, index),
        )
        bars.append(bar)
        metres.end(index)
        fifths = _first([raw.late_fifths for raw in mine], fifths)
        onset += length
    return bars


def _first(values: list[int | None], otherwise: int) -> int:
    return next((value for value in values if value is not None), otherwise)


def _section(everyone: Sequence[PartFacts], index: int) -> str:
    found = (part.bars[index].section for part in everyone if index < len(part.bars))
    return next((section for section in found if section), "")


def _barline(parts: Sequence[PartFacts], index: int) -> Barline | None:
    """What closes a bar; a file may say it at the next one's left."""
    here = (part.bars[index].barline for part in parts if index < len(part.bars))
    then = (part.bars[index + 1].barline_before for part in parts if index + 1 < len(part.bars))
    return next((barline for barline in (*here, *then) if barline), None)


def _lead(before: list[Bar], length: Fraction, metre: Metre, implicit: bool) -> Fraction:
    """How much of its metre lies before a short bar that begins inside it; 0 for any other."""
    missing = metre.bar_quarters - length
    if missing <= 0:
        return Fraction(0)
    if not before:
        return missing
    previous = before[-1]
    past = previous.lead_quarters + previous.length_quarters
    if previous.metre == metre and past + length == metre.bar_quarters:
        return past
    return missing if implicit and past == previous.metre.bar_quarters else Fraction(0)


class _Metres:
    """The time signatures in force, of which a piano may have one for each staff."""

    def __init__(self, chosen: Sequence[PartFacts]) -> None:
        self._parts = chosen
        self._now: dict[tuple[int, int], Metre | None] = {}

    def begin(self, index: int) -> None:
        """Take over the signatures at a bar's beginning."""
        self._take(index, is_late=False)

    def end(self, index: int) -> None:
        """Take over those that stand inside the bar: they count from the next."""
        self._take(index, is_late=True)

    def _take(self, index: int, *, is_late: bool) -> None:
        for which, part in enumerate(self._parts):
            if index >= len(part.bars):
                continue
            bar = part.bars[index]
            new = bar.late_metres if is_late else bar.metres
            if 0 in new:
                self._now = {key: m for key, m in self._now.items() if key[0] != which}
            self._now |= {(which, staff): metre for staff, metre in new.items()}

    def _all(self) -> list[Metre | None]:
        return [self._now[key] for key in sorted(self._now)] or [COMMON_TIME]

    def snap_length(self, reached: Fraction) -> Fraction:
        """The bar's length, given the furthest position in it."""
        lengths = [metre.bar_quarters for metre in self._all() if metre]
        if not reached:
            return lengths[0] if lengths else COMMON_TIME.bar_quarters
        near = [length for length in lengths if abs(length - reached) <= _ROUNDING]
        return near[0] if near else reached

    def for_length(self, length: Fraction) -> Metre:
        """The metre to count the bar in: the one that it fills, else the upper staff's."""
        metres = [metre for metre in self._all() if metre]
        if not metres:
            return metre_of_length(length)
        return next((metre for metre in metres if metre.bar_quarters == length), metres[0])


class _Endings:
    """The ending that is open from one bar to the next."""

    def __init__(self) -> None:
        self._open = ""

    def name_ending(self, mine: list[RawBar]) -> str:
        """The ending that a bar stands in, as printed."""
        started = next((raw.ending_start for raw in mine if raw.ending_start), "")
        self._open = started or self._open
        inside = self._open
        if any(raw.ending_stop or raw.repeat_end for raw in mine):
            self._open = ""
        return inside


_STYLES = {
    "regular": Barline.SINGLE,
    "tick": Barline.SINGLE,
    "short": Barline.SINGLE,
    "light-light": Barline.DOUBLE,
    "light-heavy": Barline.FINAL,
    "heavy": Barline.HEAVY,
    "heavy-light": Barline.HEAVY,
    "heavy-heavy": Barline.HEAVY,
    "dashed": Barline.DASHED,
    "dotted": Barline.DOTTED,
    "none": Barline.NONE,
}
"""MusicXML 4.0, ``bar-style``. What has no look of its own here gets the nearest."""


def read_barline(element: Element, bar: RawBar) -> None:
    """Put a barline's look, repeat and ending onto its bar."""
    style = _STYLES.get(clean(element.findtext("bar-style")))
    if style and element.find("repeat") is None:  # a repeat sign has its own look
        where = element.get("location", "right")
        if where == "left":
            bar.barline_before = style
        elif where == "right":
            bar.barline = style
    for child in element:
        kind = child.get("direction" if child.tag == "repeat" else "type", "")
        if child.tag == "repeat":
            bar.repeat_start |= kind == "forward"
            bar.repeat_end |= kind == "backward"
            if kind == "backward":
                bar.passes = whole(child.get("times"), 2, _MOST_PASSES) or 0
        elif child.tag == "ending":
            if kind == "start":
                bar.ending_start = clean(child.get("number")) or clean(child.text) or "1"
            else:
                bar.ending_stop = True
