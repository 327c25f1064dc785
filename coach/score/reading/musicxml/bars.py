"""Bars with their place in the piece, from what every part says of them.

A bar is as long as the furthest position that any part reaches in it, or as its metre where the
two differ by less than an exporter's rounding. So a cadenza lengthens its bar, a pickup shortens
it, and a song's voice line keeps the piano's bars apart even where the piano is silent.

MusicXML barlines: repeats and endings, kept as printed and never expanded.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from xml.etree.ElementTree import Element

from coach.score.metre import COMMON_TIME, Metre
from coach.score.model import Bar
from coach.score.reading.musicxml.attributes import metre_of_length
from coach.score.reading.musicxml.found import PartFacts, RawBar
from coach.score.reading.safe import clean

_ROUNDING = Fraction(1, 16)


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
        length = metres.snapped(reached)
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
            passes.through(mine),
            _section(everyone, index),
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
        for number, part in enumerate(self._parts):
            if index >= len(part.bars):
                continue
            bar = part.bars[index]
            new = bar.late_metres if is_late else bar.metres
            if 0 in new:
                self._now = {key: m for key, m in self._now.items() if key[0] != number}
            self._now |= {(number, staff): metre for staff, metre in new.items()}

    def _all(self) -> list[Metre | None]:
        return [self._now[key] for key in sorted(self._now)] or [COMMON_TIME]

    def snapped(self, reached: Fraction) -> Fraction:
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

    def through(self, mine: list[RawBar]) -> str:
        """The ending that a bar stands in, as printed."""
        started = next((raw.ending_start for raw in mine if raw.ending_start), "")
        self._open = started or self._open
        inside = self._open
        if any(raw.ending_stop or raw.repeat_end for raw in mine):
            self._open = ""
        return inside


def read_barline(element: Element, bar: RawBar) -> None:
    """Put a barline's repeat and ending onto its bar."""
    for child in element:
        kind = child.get("direction" if child.tag == "repeat" else "type", "")
        if child.tag == "repeat":
            bar.repeat_start |= kind == "forward"
            bar.repeat_end |= kind == "backward"
        elif child.tag == "ending":
            if kind == "start":
                bar.ending_start = clean(child.get("number")) or clean(child.text) or "1"
            else:
                bar.ending_stop = True
