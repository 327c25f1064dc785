"""A window as it is written, without columns and rows yet: the slow half of a layout, done once.

One page, drawn: the order in which its parts are put down.

The staff of a window, laid out: rows of cells, and for each note the cells it has.

The one door of this package. The layout is made once for a window and a size; marks while
playing only change cells that it names.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from functools import cached_property

from coach.score.counting import syllables
from coach.score.model import Score
from coach.score.window import Excerpt
from coach.screens.staff import frame
from coach.screens.staff import notes as beaming
from coach.screens.staff import notes as ink
from coach.screens.staff.beams import BeamGroup
from coach.screens.staff.columns import Chord, Slot, pages
from coach.screens.staff.content import Counts, SlotKey, Written, chords_of, slots_of, write
from coach.screens.staff.glyphs import UNICODE, Glyphs
from coach.screens.staff.page import NoteCells, Page, Pages, Sheet
from coach.screens.staff.rows import FORMS, Form, StaffRows, system_rows
from coach.screens.staff.spread import Ground, Spread, prefix_width, spread_of
from coach.screens.staff.written import Stem


class Draft:
    """What is written, gathered by onset, for the whole window and for single pages of it."""

    def __init__(self, written: Written) -> None:
        self.written = written
        self._slots: dict[bool, tuple[Slot, ...]] = {}

    @cached_property
    def chords(self) -> dict[SlotKey, Chord]:
        """The heads of each slot."""
        return chords_of(self.written)

    def slots(self, form: Form) -> tuple[Slot, ...]:
        """Every slot; forms differ only in whether a chord's fingers stand side by side."""
        side_by_side = not form.stacked_fingers
        if side_by_side not in self._slots:
            self._slots[side_by_side] = slots_of(self.written, self.chords, form)
        return self._slots[side_by_side]

    def rows(
        self, form: Form, page: Sequence[Slot] | None = None
    ) -> tuple[tuple[StaffRows, ...], int]:
        """The lanes of every staff and the number of rows, for all pages or for one."""
        written = self.written
        staves = {head.staff for head in written.heads}
        if page is None:
            return system_rows(written.heads, written.stems, form, staves)
        chords = [self.chords[slot.key] for slot in page if slot.key in self.chords]
        heads = [head for chord in chords for head in chord.heads]
        return system_rows(heads, self._stems_on(page), form, staves)

    def on_page(self, ground: Ground, page: Sequence[Slot]) -> Ground:
        """The same ground with no other stems and beams than those of one page: drawn sooner."""
        stems = self._stems_on(page)
        beams = {id(group): group for stem in stems for group in self._beams_of.get(id(stem), ())}
        written = replace(ground.written, stems=tuple(stems), beams=tuple(beams.values()))
        return replace(ground, written=written)

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


_PARTS = (
    frame.lines,
    frame.barlines,
    frame.prefix,
    ink.ledger_lines,
    beaming.stems,
    ink.ties,
    ink.signs_and_heads,
    ink.rests,
    beaming.beams,
    ink.fingering,
    frame.octave_lines,
    frame.changes,
    frame.bar_numbers,
    frame.counts,
)
"""What comes later is drawn over what came before."""


def draw_page(ground: Ground, slots: Sequence[Slot], every_slot: Sequence[Slot]) -> Page:
    """Draw the page that holds ``slots``, out of ``every_slot`` of the window."""
    spread = spread_of(ground, tuple(slots), every_slot)
    for part in _PARTS:
        part(spread)
    return Page(spread.canvas.rows(), _note_cells(spread), slots[0].onset_quarters)


def _note_cells(spread: Spread) -> dict[int, NoteCells]:
    """Each note's cells on this page; its mark stands under the first of its heads."""
    out = {}
    for note, cells in spread.heads.items():
        head, (_, column) = cells[0]
        staff = spread.rows_of(head.staff)
        if staff.marks_beside:
            column = spread.core(head) + ink.fingers_width(spread, head)
        mark = staff.marks, column
        out[note] = NoteCells(tuple(cell for _, cell in cells), mark)
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

    ``counts`` gives what is counted aloud at each onset. See :meth:`Manuscript.lay_out`.
    """
    return Manuscript(score, excerpt, counts).lay_out(width, height, glyphs)


class Manuscript:
    """A window that can be laid out for any number of sizes; what is slow is done once."""

    def __init__(self, score: Score, excerpt: Excerpt, counts: Counts = syllables) -> None:
        self.score, self.excerpt, self._counts = score, excerpt, counts
        self._drafts: dict[bool, Draft] = {}

    def lay_out(self, width: int, height: int, glyphs: Glyphs = UNICODE) -> Sheet:
        """A sheet for so many columns and rows.

        The roomiest form whose rows fit is taken, the same for all pages where one fits them all;
        columns that do not fit become pages, by time.
        """
        form, staves, rows = self._fitting(height)
        draft = self._draft(form)
        slots = draft.slots(form)
        room = max(width - prefix_width(draft.written) - 2, 8)
        parts = [slots[p.start : p.stop] for p in pages(slots, room, draft.written.beats)]
        ground = Ground(draft.written, staves, rows, draft.chords, form, glyphs, width)
        grounds = [ground] * len(parts)
        if rows > height:  # no form fits all of it: each page has the lanes that it needs itself
            grounds = [self._own_ground(ground, part, height) for part in parts]
            rows = max(one.rows for one in grounds)
            grounds = [replace(one, rows=rows) for one in grounds]

        def draw(at: int) -> Page:
            own = self._draft(grounds[at].form).on_page(grounds[at], parts[at])
            return draw_page(own, parts[at], slots)

        starts = tuple(part[0].onset_quarters for part in parts)
        return Sheet(Pages(len(parts), draw), starts, width, rows, form.compact)

    def rows_needed(self, width: int, height: int) -> int:
        """Rows that it takes when it is given so many."""
        _, _, rows = self._fitting(height)
        return rows if rows <= height else self.lay_out(width, height).height

    def _fitting(self, height: int) -> tuple[Form, tuple[StaffRows, ...], int]:
        for form in FORMS:
            staves, rows = self._draft(form).rows(form)
            if rows <= height:
                break
        return form, staves, rows

    def _own_ground(self, ground: Ground, page: Sequence[Slot], height: int) -> Ground:
        """The ground of one page alone, in the roomiest form that fits."""
        for form in FORMS:
            if form.stacked_fingers is not ground.form.stacked_fingers:
                continue  # its slots have other widths
            draft = self._draft(form)
            staves, rows = draft.rows(form, page)
            if rows <= height:
                break
        return replace(
            ground, written=draft.written, chords=draft.chords, staves=staves, rows=rows, form=form
        )

    def _draft(self, form: Form) -> Draft:
        if form.folded not in self._drafts:
            written = write(self.score, self.excerpt, self._counts, fold=form.folded)
            self._drafts[form.folded] = Draft(written)
        return self._drafts[form.folded]
