"""A window laid out on the staff: rows of cells, and for each note the cells it has.

The layout is made once for a window and a size; marks while playing only change cells that it
names. What a window looks like on paper is slow to find out, and done once for all sizes.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from functools import cached_property

from coach.score.counting import syllables
from coach.score.model import Score
from coach.score.notation import BeamGroup, Counts, Stem, Written, write
from coach.score.window import Excerpt
from coach.screens.staff.columns import (
    ChordColumns,
    Slot,
    SlotKey,
    break_pages,
    gather_chords,
    gather_slots,
)
from coach.screens.staff.drawing import draw_page
from coach.screens.staff.glyphs import UNICODE, Glyphs
from coach.screens.staff.page import Page, Pages, Sheet
from coach.screens.staff.page_layout import SystemLayout, prefix_width
from coach.screens.staff.rows import FORMS, Form, StaffRows, lay_system_rows

_FEWEST_COLUMNS = 8
"""Columns that music is laid out in at least, where a terminal leaves fewer. Own choice: a chord
with its signs and fingers."""


class WrittenByOnset:
    """What is written, gathered by onset, for the whole window and for single pages of it."""

    def __init__(self, written: Written) -> None:
        self.written = written
        self._slots: dict[bool, tuple[Slot, ...]] = {}

    @cached_property
    def chords(self) -> dict[SlotKey, ChordColumns]:
        """The heads of each slot."""
        return gather_chords(self.written)

    def slots(self, form: Form) -> tuple[Slot, ...]:
        """Every slot; forms differ only in whether a chord's fingers stand side by side."""
        side_by_side = not form.stacked_fingers
        if side_by_side not in self._slots:
            self._slots[side_by_side] = gather_slots(self.written, self.chords, form)
        return self._slots[side_by_side]

    def rows(
        self, form: Form, page: Sequence[Slot] | None = None
    ) -> tuple[tuple[StaffRows, ...], int]:
        """The lanes of every staff and the number of rows, for all pages or for one."""
        written = self.written
        staves = {head.staff for head in written.heads}
        if page is None:
            return lay_system_rows(written.heads, written.stems, form, staves)
        chords = [self.chords[slot.key] for slot in page if slot.key in self.chords]
        heads = [head for chord in chords for head in chord.heads]
        return lay_system_rows(heads, self._stems_on(page), form, staves)

    def on_page(self, system: SystemLayout, page: Sequence[Slot]) -> SystemLayout:
        """The same system with no other stems and beams than those of one page: drawn sooner."""
        stems = self._stems_on(page)
        beams = {id(group): group for stem in stems for group in self._beams_of.get(id(stem), ())}
        written = replace(system.written, stems=tuple(stems), beams=tuple(beams.values()))
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
    def _beams_of(self) -> dict[int, list[BeamGroup]]:
        out: dict[int, list[BeamGroup]] = defaultdict(list)
        for group in self.written.beams:
            for stem in group.stems:
                out[id(stem)].append(group)
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


class WindowLayout:
    """A window that can be laid out for any number of sizes; what is slow is done once."""

    def __init__(self, score: Score, excerpt: Excerpt, counts: Counts = syllables) -> None:
        self.score, self.excerpt, self._counts = score, excerpt, counts
        self._written: dict[bool, WrittenByOnset] = {}

    def lay_out(self, width: int, height: int, glyphs: Glyphs = UNICODE) -> Sheet:
        """A sheet for so many columns and rows.

        The roomiest form whose rows fit is taken, the same for all pages where one fits them all;
        columns that do not fit become pages, by time.
        """
        form, staves, rows = self._find_form(height)
        gathered = self._gather(form)
        slots = gathered.slots(form)
        room = max(width - prefix_width(gathered.written) - 2, _FEWEST_COLUMNS)
        parts = [slots[p.start : p.stop] for p in break_pages(slots, room, gathered.written.beats)]
        system = SystemLayout(gathered.written, staves, rows, gathered.chords, form, glyphs, width)
        systems = [system] * len(parts)
        if rows > height:  # no form fits all of it: each page has the lanes that it needs itself
            systems = [self._lay_out_alone(system, part, height) for part in parts]
            rows = max(one.rows for one in systems)
            systems = [replace(one, rows=rows) for one in systems]

        def draw(at: int) -> Page:
            own = self._gather(systems[at].form).on_page(systems[at], parts[at])
            return draw_page(own, parts[at], slots)

        starts = tuple(part[0].onset_quarters for part in parts)
        return Sheet(Pages(len(parts), draw), starts, width, rows, form.compact)

    def rows_needed(self, width: int, height: int) -> int:
        """Rows that it takes when it is given so many."""
        _, _, rows = self._find_form(height)
        return rows if rows <= height else self.lay_out(width, height).height

    def _find_form(self, height: int) -> tuple[Form, tuple[StaffRows, ...], int]:
        for form in FORMS:
            staves, rows = self._gather(form).rows(form)
            if rows <= height:
                break
        return form, staves, rows

    def _lay_out_alone(
        self, system: SystemLayout, page: Sequence[Slot], height: int
    ) -> SystemLayout:
        """The system of one page alone, in the roomiest form that fits."""
        for form in FORMS:
            if form.stacked_fingers is not system.form.stacked_fingers:
                continue  # its slots have other widths
            gathered = self._gather(form)
            staves, rows = gathered.rows(form, page)
            if rows <= height:
                break
        return replace(
            system,
            written=gathered.written,
            chords=gathered.chords,
            staves=staves,
            rows=rows,
            form=form,
        )

    def _gather(self, form: Form) -> WrittenByOnset:
        if form.folded not in self._written:
            written = write(self.score, self.excerpt, self._counts, fold=form.folded)
            self._written[form.folded] = WrittenByOnset(written)
        return self._written[form.folded]
