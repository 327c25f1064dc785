"""A window laid out on the staff: rows of cells, and for each note the cells it has.

The layout is made once for a window and a size; marks while playing only change cells that it
names. What a window looks like on paper is slow to find out, and done once for all sizes.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import pairwise

from coach.score.counting import syllables
from coach.score.model import Score
from coach.score.notation import (
    BeamGroup,
    Counts,
    Stem,
    Touch,
    Tuplet,
    Written,
    is_dynamic,
    write,
)
from coach.score.window import Excerpt
from coach.screens.staff.columns import (
    ChordColumns,
    Slot,
    break_pages,
    gather_chords,
    gather_slots,
    list_note_keys,
    touch_key,
)
from coach.screens.staff.drawing import SystemLayout, draw_page, prefix_width
from coach.screens.staff.glyphs import UNICODE, Glyphs
from coach.screens.staff.page import Page, Pages, Sheet
from coach.screens.staff.rows import (
    FORMS,
    TIGHT_FORMS,
    Form,
    Lanes,
    Scale,
    StaffRows,
    lay_system_rows,
)
from coach.screens.staff.texts import (
    LINE_STARTS,
    TEXT_OF_LINE,
    SlotKey,
    SlotKind,
    SlotText,
    SlotTexts,
    TextGatherer,
    TextKind,
)

_FEWEST_COLUMNS = 8
"""Columns that music is laid out in at least, where a terminal leaves fewer. Own choice: a chord
with its signs and fingers."""


_MOST_PAGES = 2
"""Pages of one bar at most: more would be turned more than they are read. Own choice."""


class WrittenByOnset:
    """What is written, gathered by onset, for the whole window and for single pages of it."""

    def __init__(self, written: Written, form: Form) -> None:
        """``form``: any of those that draw it with heads of the same size."""
        self.written, self._form = written, form
        self._slots: dict[tuple[Lanes, bool], tuple[Slot, ...]] = {}

    @cached_property
    def chords(self) -> dict[SlotKey, ChordColumns]:
        """The heads of each slot."""
        return gather_chords(self.written, self._form)

    @cached_property
    def texts(self) -> Mapping[SlotKey, Mapping[int, SlotTexts]]:
        """What is written over and under the notes, by slot and staff."""
        keys = sorted(list_note_keys(self.written, self.chords))
        onsets = {key[0]: key for key in keys if key[1] is SlotKind.NOTE}
        touches: dict[SlotKey, list[Touch]] = defaultdict(list)
        for touch in self.written.touches:
            touches[touch_key(touch)].append(touch)
        heads = {key: chord.heads for key, chord in self.chords.items()}
        return TextGatherer(self.written, onsets, UNICODE).gather(heads, touches)

    def slots(self, form: Form) -> tuple[Slot, ...]:
        """Every slot; forms of one scale differ in how much text stands side by side."""
        kind = form.lanes, form.stacked_fingers
        if kind not in self._slots:
            self._slots[kind] = gather_slots(self.written, self.chords, self.texts, form)
        return self._slots[kind]

    def rows(
        self, form: Form, page: Sequence[Slot] | None = None
    ) -> tuple[tuple[StaffRows, ...], int]:
        """The lanes of every staff and the number of rows, for all pages or for one."""
        written = self.written
        staves = {head.staff for head in written.heads}
        keys = [slot.key for slot in page] if page is not None else [*self.texts]
        texts: dict[int, list[SlotTexts]] = defaultdict(list)
        for key in keys:
            for staff, on_staff in self.texts.get(key, {}).items():
                texts[staff].append(on_staff)
        self._add_lines_and_words(texts, page)
        if page is None:
            return lay_system_rows(written.heads, written.stems, texts, form, staves)
        chords = [self.chords[slot.key] for slot in page if slot.key in self.chords]
        heads = [head for chord in chords for head in chord.heads]
        return lay_system_rows(heads, self._stems_on(page), texts, form, staves)

    def _add_lines_and_words(
        self, texts: dict[int, list[SlotTexts]], page: Sequence[Slot] | None
    ) -> None:
        """Lines that go on over a page, and words, need their lane too."""
        low = page[0].onset_quarters if page else self.written.start_quarters
        high = page[-1].onset_quarters if page else self.written.last_quarters
        for line in self.written.lines:
            if line.start_quarters <= high and line.end_quarters > low:
                kind = TEXT_OF_LINE[line.kind]
                texts[line.staff].append({kind: SlotText(LINE_STARTS[line.kind])})
        for one in self.written.directions:
            if low <= one.onset_quarters <= high and not is_dynamic(one):
                texts[one.staff].append({TextKind.WORDS: SlotText(one.text)})

    def on_page(self, system: SystemLayout, page: Sequence[Slot]) -> SystemLayout:
        """The same system with no other stems and beams than those of one page: drawn sooner."""
        stems = self._stems_on(page)
        ids = {id(stem): None for stem in stems}
        beams = dict.fromkeys(at for one in ids for at in self._beams_of.get(one, ()))
        tuplets = dict.fromkeys(at for one in ids for at in self._tuplets_of.get(one, ()))
        written = replace(
            system.written,
            stems=tuple(stems),
            beams=tuple(self.written.beams[at] for at in beams),
            tuplets=tuple(self.written.tuplets[at] for at in tuplets),
        )
        return replace(system, written=written)

    def _stems_on(self, page: Sequence[Slot]) -> list[Stem]:
        onsets = dict.fromkeys(slot.onset_quarters for slot in page)
        return [stem for onset in onsets for stem in self._stems_at.get(onset, ())]

    @cached_property
    def _stems_at(self) -> dict[Fraction, list[Stem]]:
        out: dict[Fraction, list[Stem]] = defaultdict(list)
        for stem in self.written.stems:
            out[stem.onset_quarters].append(stem)
        return out

    @cached_property
    def _beams_of(self) -> dict[int, list[int]]:
        return _places_by_stem(self.written.beams)

    @cached_property
    def _tuplets_of(self) -> dict[int, list[int]]:
        return _places_by_stem(self.written.tuplets)


def _places_by_stem(groups: Sequence[BeamGroup | Tuplet]) -> dict[int, list[int]]:
    """The places of the groups that each stem is in, by the stem's identity."""
    out: dict[int, list[int]] = defaultdict(list)
    for at, group in enumerate(groups):
        for stem in group.stems:
            out[id(stem)].append(at)
    return out


def lay_out(
    score: Score,
    excerpt: Excerpt,
    width: int,
    height: int,
    *,
    glyphs: Glyphs = UNICODE,
    counts: Counts = syllables,
) -> Sheet:
    """Lay a window out for a space of so many columns and rows.

    ``counts`` gives what is counted aloud at each onset. See :meth:`WindowLayout.lay_out`.
    """
    return WindowLayout(score, excerpt, counts).lay_out(width, height, glyphs)


@dataclass(frozen=True, slots=True)
class _PagePlan:
    """One page: its form, its slots, and the rows it takes."""

    form: Form
    slots: tuple[Slot, ...]
    every_slot: tuple[Slot, ...]
    staves: tuple[StaffRows, ...]
    rows: int


def _onset_of(slot: Slot) -> Fraction:
    return slot.onset_quarters


class WindowLayout:
    """A window that can be laid out for any number of sizes; what is slow is done once."""

    def __init__(
        self,
        score: Score,
        excerpt: Excerpt,
        counts: Counts = syllables,
        fingers: Mapping[str, str] | None = None,
    ) -> None:
        """``fingers``: by a note's id the finger that is suggested where none is printed."""
        self.score, self.excerpt, self._counts = score, excerpt, counts
        self.fingers = fingers or {}
        self._written: dict[tuple[int, int] | None, Written] = {}
        self._gathered: dict[tuple[object, ...], WrittenByOnset] = {}
        self._system_rows: dict[Form, tuple[tuple[StaffRows, ...], int]] = {}
        self._parts: dict[tuple[Form, Fraction, Fraction], _PagePlan] = {}
        """Stretches on one page each, in forms that were tried: they are the same for all sizes."""
        self._plans: dict[tuple[int, int, int], list[_PagePlan]] = {}

    def lay_out(self, width: int, height: int, glyphs: Glyphs = UNICODE, size: int = 0) -> Sheet:
        """A sheet for so many columns and rows.

        The roomiest form whose rows fit is taken, the same for all pages where one fits them all;
        columns that do not fit become pages, by time; so do rows: each page has then the form
        that it needs itself. ``size`` counts forms down (-1 is smaller) or up from there: a larger
        one has more pages.
        """
        plans = self._plan_pages(width, height, size)
        rows = max(plan.rows for plan in plans)

        def draw(at: int) -> Page:
            plan = plans[at]
            gathered = self._gather(plan.form)
            system = SystemLayout(
                gathered.written,
                plan.staves,
                rows,
                gathered.chords,
                gathered.texts,
                plan.form,
                glyphs,
                width,
            )
            return draw_page(gathered.on_page(system, plan.slots), plan.slots, plan.every_slot)

        starts = tuple(plan.slots[0].onset_quarters for plan in plans)
        form = ", ".join(sorted({plan.form.words for plan in plans}))
        return Sheet(Pages(len(plans), draw), starts, width, rows, form)

    def rows_needed(self, width: int, height: int, size: int = 0) -> int:
        """Rows that it takes when it is given so many."""
        return max(plan.rows for plan in self._plan_pages(width, height, size))

    def _plan_pages(self, width: int, height: int, size: int) -> list[_PagePlan]:
        key = width, height, size
        if key not in self._plans:
            self._plans[key] = self._find_pages(width, height, size)
        return self._plans[key]

    def _find_pages(self, width: int, height: int, size: int) -> list[_PagePlan]:
        fitting = self._fitting_forms(width, height)
        first = next(fitting, None)
        bars = len(self._bar_edges()) - 1
        if first is None or len(first) > _MOST_PAGES * bars:
            return self._plan_single_bars(width, height)
        if size < 0:
            smaller = [first, *fitting]
            return smaller[min(-size, len(smaller) - 1)]
        if size > 0:
            return self._plan_single_bars(width, height)
        return first

    def _fitting_forms(self, width: int, height: int) -> Iterator[list[_PagePlan]]:
        """Every form whose rows fit for the whole window, the roomiest first.

        The large form only where it takes no more pages than the next.
        """
        fitting = (plan for form in FORMS if (plan := self._plan_in(form, width, height)))
        first = next(fitting, None)
        if first is None:
            return
        if first[0].form.scale is Scale.LARGE and (second := next(fitting, None)):
            if len(first) <= len(second):
                yield first
            yield second
        else:
            yield first
        yield from fitting

    def _plan_in(self, form: Form, width: int, height: int) -> list[_PagePlan]:
        """The whole window in one form; none where its rows don't fit."""
        if form not in self._system_rows:
            self._system_rows[form] = self._gather(form).rows(form)
        staves, rows = self._system_rows[form]
        return self._break_by_width(form, staves, rows, width) if rows <= height else []

    def _break_by_width(
        self, form: Form, staves: tuple[StaffRows, ...], rows: int, width: int
    ) -> list[_PagePlan]:
        gathered = self._gather(form)
        slots = gathered.slots(form)
        written = gathered.written
        bars = frozenset(bar.onset_quarters for bar in written.bars)
        parts = break_pages(slots, self._room(gathered, width), written.beats, bars)
        return [_PagePlan(form, slots[p.start : p.stop], slots, staves, rows) for p in parts]

    def _room(self, gathered: WrittenByOnset, width: int) -> int:
        return max(width - prefix_width(gathered.written) - 2, _FEWEST_COLUMNS)

    def _plan_single_bars(self, width: int, height: int) -> list[_PagePlan]:
        """Each bar a page in its own form, or two where one can't hold it, by beat."""
        out: list[_PagePlan] = []
        for low, high in pairwise(self._bar_edges()):
            out += self._plan_bar(low, high, width, height)
        return [plan for plan in out if plan.slots]

    def _bar_edges(self) -> list[Fraction]:
        """Where the window's bars begin, and after its end: the landing is the last bar's."""
        written, end = self._gather(FORMS[0]).written, self.excerpt.window.end_quarters
        onsets = [bar.onset_quarters for bar in written.bars if bar.onset_quarters < end]
        return [*onsets, written.last_quarters + 1]

    def _plan_bar(self, low: Fraction, high: Fraction, width: int, height: int) -> list[_PagePlan]:
        """Whole where it can be read well, else in halves; in a tight form where both can't be."""
        written = self._gather(FORMS[0]).written
        beats = sorted(beat for beat in written.beats if low < beat < high)
        for forms in (FORMS, TIGHT_FORMS):
            whole = self._plan_part(low, high, width, height, forms)
            if whole:
                return [whole]
            middle = (low + max([*beats, low])) / 2
            for cut in sorted(beats, key=lambda beat: abs(beat - middle)):
                first = self._plan_part(low, cut, width, height, forms)
                second = first and self._plan_part(cut, high, width, height, forms)
                if first and second:
                    return [first, second]
        return self._plan_beats([low, *beats, high], width, height)

    def _plan_beats(self, edges: list[Fraction], width: int, height: int) -> list[_PagePlan]:
        """The last resort: as many beats on a page as fit it, one at least."""
        out: list[_PagePlan] = []
        first = 0
        while first < len(edges) - 1:
            plans = (
                (stop, self._plan_part(edges[first], edges[stop], width, height, TIGHT_FORMS))
                for stop in range(len(edges) - 1, first, -1)
            )
            stop, plan = next(((stop, plan) for stop, plan in plans if plan), (first + 1, None))
            if plan is None:  # too few rows for any: the form that misses the fewest
                each = (self._make_plan(form, edges[first], edges[stop]) for form in TIGHT_FORMS)
                plan = min(each, key=lambda one: one.rows)
            out.append(plan)
            first = stop
        return out

    def _plan_part(
        self, low: Fraction, high: Fraction, width: int, height: int, forms: Sequence[Form]
    ) -> _PagePlan | None:
        """A stretch on one page, in the roomiest form that fits; None where none does."""
        for form in forms:
            plan = self._make_plan(form, low, high)
            columns = sum(slot.width for slot in plan.slots)
            if plan.rows <= height and columns <= self._room(self._gather(form), width):
                return plan
        return None

    def _make_plan(self, form: Form, low: Fraction, high: Fraction) -> _PagePlan:
        key = form, low, high
        if key not in self._parts:
            gathered = self._gather(form)
            slots = gathered.slots(form)
            first, stop = (bisect_left(slots, at, key=_onset_of) for at in (low, high))
            part = slots[first:stop]
            self._parts[key] = _PagePlan(form, part, slots, *gathered.rows(form, part))
        return self._parts[key]

    def _gather(self, form: Form) -> WrittenByOnset:
        if form.fold not in self._written:
            self._written[form.fold] = write(
                self.score, self.excerpt, self._counts, fold=form.fold, fingers=self.fingers
            )
        key = form.fold, form.scale, form.narrow
        if key not in self._gathered:
            self._gathered[key] = WrittenByOnset(self._written[form.fold], form)
        return self._gathered[key]
