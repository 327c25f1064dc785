"""A piece as it is played through: repeats, endings, da capo and dal segno unfolded.

The page is read as common practice has it. A repeat sign goes back once to the last opening sign,
or to the beginning, or as often as it says; endings say which pass plays them. After *D.C.* or
*D.S.* repeats are not taken again and the last ending is played, up to *Fine*, or to *to Coda* and
on from the coda. What can't be made sense of is played as it stands.

In the unfolded piece every bar stands where it is played, with its printed number and, where it is
played more than once, which time it is.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import TypeVar

from coach.score.model import (
    Bar,
    Barline,
    Clef,
    Direction,
    OwnNote,
    PrintedLine,
    PrintedRest,
    Remark,
    Score,
    ScoreNote,
    TempoMark,
)
from coach.score.words import count_of

_MOST_TIMES_LONGER = 8
"""A piece that gets longer than this is no music. Own choice: eight verses are many."""

_DA_CAPO = re.compile(r"\b(d\.? ?c\.?|da capo)(?![a-z])", re.I)
_DAL_SEGNO = re.compile(r"\b(d\.? ?s\.?|dal segno)(?![a-z])", re.I)
_TO_CODA = re.compile(r"\b(to|alla|al) coda\b", re.I)
_CODA = re.compile(r"^\W*coda\W*$", re.I)
_SEGNO = re.compile(r"^\W*segno\W*$", re.I)
_FINE = re.compile(r"^\W*fine\W*$", re.I)


@dataclass(slots=True)
class _Signs:
    """By the index of the bar: what its words say about where to go."""

    back: dict[int, int] = field(default_factory=dict)
    """At the end of which bar one goes back once, and to which."""
    fine: set[int] = field(default_factory=set)
    """At the end of these bars the piece is over, once one has gone back."""
    leave: dict[int, int] = field(default_factory=dict)
    """At the end of which bar one goes on to the coda, once one has gone back; and its bar."""


def unfold(score: Score) -> Score:
    """The piece as it is played through; the same score where nothing is repeated."""
    order = list_played_bars(score)
    if order == list(range(len(score.bars))):
        return score
    return _Unfolded(score, order).score()


def list_played_bars(score: Score) -> list[int]:
    """The bars by their indexes, in the order in which they are played."""
    signs = _read_signs(score)
    bars = score.bars
    openings = _openings(bars)
    taken: Counter[int] = Counter()
    gone_back: set[int] = set()
    out: list[int] = []
    at = 0
    while at < len(bars) and len(out) < _MOST_TIMES_LONGER * len(bars):
        bar = bars[at]
        opening = openings[at]
        last_time = bool(gone_back)
        passes = _passes_of(bars, openings, opening)
        now = passes if last_time else taken[opening] + 1
        if bar.ending and now not in _numbers(bar.ending):
            at += 1
            continue
        out.append(at)
        if last_time and at in signs.fine:
            break
        if last_time and at in signs.leave:
            at = signs.leave[at]
        elif bar.repeat_end and now < passes:
            taken[opening] += 1
            at = opening
        elif at in signs.back and at not in gone_back:
            gone_back.add(at)
            at = signs.back[at]
        else:
            at += 1
    return out


def _openings(bars: Sequence[Bar]) -> list[int]:
    """For each bar where the repeat that it lies in begins."""
    out: list[int] = []
    opening = 0
    for at, bar in enumerate(bars):
        closed = at > 0 and bars[at - 1].repeat_end and not _goes_on(bars, at)
        if bar.repeat_start or closed:
            opening = at
        out.append(opening)
    return out


def _goes_on(bars: Sequence[Bar], at: int) -> bool:
    """Whether a bar after a repeat sign is a later ending of the same repeat."""
    return bool(bars[at].ending) and 1 not in _numbers(bars[at].ending)


def _passes_of(bars: Sequence[Bar], openings: Sequence[int], opening: int) -> int:
    """How often a stretch is played: as its endings or its sign say, twice with a sign alone, else
    once."""
    mine = [bar for bar, start in zip(bars, openings, strict=True) if start == opening]
    endings = [number for bar in mine for number in _numbers(bar.ending)]
    signs = [2 if endings else max(bar.passes, 2) for bar in mine if bar.repeat_end]
    return max([*endings, *signs, 1])


def _numbers(ending: str) -> list[int]:
    """``1, 2`` and ``1-3`` as numbers."""
    out: list[int] = []
    for first, last in re.findall(r"(\d{1,2})(?:\s*[-–]\s*(\d{1,2}))?", ending):
        out += range(int(first), int(last or first) + 1)
    return out or ([1] if ending else [])


def _read_signs(score: Score) -> _Signs:
    signs = _Signs()
    said = [(one.text, _bar_of(score, one.onset_quarters)) for one in score.directions]
    segno = next((at for text, at in said if _SEGNO.match(text)), 0)
    codas = [at for text, at in said if _CODA.match(text)]
    leaving = [_end_of(score, one) for one in score.directions if _leaves(one.text)]
    for one in score.directions:
        if _FINE.match(one.text):
            signs.fine.add(_end_of(score, one))
        elif _DAL_SEGNO.search(one.text):
            signs.back[_end_of(score, one)] = segno
        elif _DA_CAPO.search(one.text):
            signs.back[_end_of(score, one)] = 0
    if not signs.back:
        return _Signs()
    if codas and not leaving:  # two signs: where it is left, and where it goes on
        leaving = [max(codas[0] - 1, 0)] if len(codas) > 1 else []
    for at in leaving:
        after = [coda for coda in codas if coda > at]
        if after:
            signs.leave[at] = after[-1]
    return signs


def _leaves(text: str) -> bool:
    back = _DA_CAPO.search(text) or _DAL_SEGNO.search(text)
    return bool(_TO_CODA.search(text)) and not back


def _bar_of(score: Score, onset: Fraction) -> int:
    return score.bar_at(onset).index


def _end_of(score: Score, one: Direction) -> int:
    """The bar at whose end a word is obeyed."""
    bar = score.bar_at(one.onset_quarters)
    is_before = one.ends_bar and one.onset_quarters == bar.onset_quarters
    return max(bar.index - is_before, 0)


_Placed = TypeVar("_Placed", Clef, TempoMark, Direction)


class _Unfolded:
    """A score being unfolded."""

    def __init__(self, score: Score, order: Sequence[int]) -> None:
        self._score, self._order = score, order
        self._bars = tuple(self._list_bars())

    def score(self) -> Score:
        """The whole of it."""
        written, count = self._score, count_of(len(self._order), "bar")
        said = f"Played through with its repeats: {count} for {len(written.bars)} on the page."
        return replace(
            written,
            bars=self._bars,
            title=f"{written.title}, with repeats",
            notes=tuple(self._list_notes()),
            clefs=self._with_what_holds(written.clefs),
            tempos=self._with_what_holds(written.tempos),
            directions=tuple(self._place(written.directions)),
            lines=tuple(self._list_lines()),
            rests=tuple(self._list_rests()),
            own_notes=tuple(self._list_own_notes()),
            remarks=(*written.remarks, Remark("note", said)),
        )

    def _list_bars(self) -> Iterator[Bar]:
        often, before = Counter(self._order), Counter[int]()
        onset = Fraction(0)
        for index, at in enumerate(self._order):
            before[at] += 1
            bar, goes_on = self._score.bars[at], index + 1 < len(self._order)
            yield replace(
                bar,
                index=index,
                onset_quarters=onset,
                repeat_start=False,
                repeat_end=False,
                passes=0,
                ending="",
                time=before[at] if often[at] > 1 else 0,
                barline=None if goes_on and bar.barline is Barline.FINAL else bar.barline,
            )
            onset += bar.length_quarters

    def _runs(self) -> Iterator[tuple[Bar, Bar, Fraction, int]]:
        """Stretches that are played as they stand: their first and last bar on the page, how far
        they lie behind it, and the index of their first bar."""
        first = 0
        for at in range(1, len(self._order) + 1):
            if at == len(self._order) or self._order[at] != self._order[at - 1] + 1:
                start = self._score.bars[self._order[first]]
                last = self._score.bars[self._order[at - 1]]
                yield start, last, self._bars[first].onset_quarters - start.onset_quarters, first
                first = at

    def _list_notes(self) -> Iterator[ScoreNote]:
        played: Counter[str] = Counter()
        for first, last, behind, index in self._runs():
            end = last.end_quarters
            for note in self._score.notes_between(first.onset_quarters, end):
                played[note.id] += 1
                again = f"@{played[note.id]}" if played[note.id] > 1 else ""
                yield replace(
                    _cut(note, end),
                    id=note.id + again,
                    onset_quarters=note.onset_quarters + behind,
                    bar_index=note.bar_index - first.index + index,
                )

    def _place(self, placed: Sequence[_Placed]) -> Iterator[_Placed]:
        for first, last, behind, _ in self._runs():
            for one in placed:
                if first.onset_quarters <= one.onset_quarters < last.end_quarters:
                    yield replace(one, onset_quarters=one.onset_quarters + behind)

    def _with_what_holds(self, placed: Sequence[_Placed]) -> tuple[_Placed, ...]:
        """Those of each stretch, and at its beginning what holds there on the page."""
        out: list[_Placed] = []
        for first, last, behind, _ in self._runs():
            holding: dict[int, _Placed] = {}
            for one in placed:
                if one.onset_quarters < first.onset_quarters:
                    holding[_kind(one)] = replace(one, onset_quarters=first.onset_quarters)
                elif one.onset_quarters < last.end_quarters:
                    if one.onset_quarters == first.onset_quarters:
                        holding.pop(_kind(one), None)
                    out.append(replace(one, onset_quarters=one.onset_quarters + behind))
            start = first.onset_quarters + behind
            out += (replace(one, onset_quarters=start) for one in holding.values())
        return tuple(sorted(out, key=lambda one: (one.onset_quarters, _kind(one))))

    def _list_lines(self) -> Iterator[PrintedLine]:
        for first, last, behind, _ in self._runs():
            for line in self._score.lines:
                start = max(line.start_quarters, first.onset_quarters)
                end = min(line.end_quarters, last.end_quarters)
                if start < end:
                    yield replace(line, start_quarters=start + behind, end_quarters=end + behind)

    def _list_rests(self) -> Iterator[PrintedRest]:
        for first, last, behind, _ in self._runs():
            for rest in self._score.rests:
                if first.onset_quarters <= rest.onset_quarters < last.end_quarters:
                    yield replace(rest, onset_quarters=rest.onset_quarters + behind)

    def _list_own_notes(self) -> Iterator[OwnNote]:
        for first, last, behind, _ in self._runs():
            for one in self._score.own_notes_in(first.onset_quarters, last.end_quarters):
                start = max(one.start_quarters, first.onset_quarters)
                end = min(one.end_quarters, last.end_quarters)
                yield replace(one, start_quarters=start + behind, end_quarters=end + behind)


def _kind(one: Clef | TempoMark | Direction) -> int:
    """What takes the place of what: a clef that of its staff's, a tempo that of any."""
    return 0 if isinstance(one, TempoMark) else one.staff


def _cut(note: ScoreNote, end: Fraction) -> ScoreNote:
    """A note that is tied over the end of what is played on ends there."""
    if note.end_quarters <= end:
        return note
    left = end - note.onset_quarters
    segments: list[Fraction] = []
    for segment in note.segments_quarters:
        if sum(segments) < left:
            segments.append(min(segment, left - sum(segments)))
    kept = tuple(segments) if len(segments) > 1 else ()
    return replace(note, length_quarters=left, segments_quarters=kept, beams_to_next=())
