"""The staff of a window, laid out: rows of cells, and for each note the cells it has.

The one door of this package. The layout is made once for a window and a size; marks while
playing only change cells that it names.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from coach.score.counting import syllables
from coach.score.model import Score
from coach.score.window import Excerpt
from coach.screens.staff.draft import Draft
from coach.screens.staff.draw import draw_page
from coach.screens.staff.glyphs import UNICODE, Glyphs
from coach.screens.staff.lanes import FORMS, Form, StaffRows
from coach.screens.staff.page import Page, Pages, Sheet
from coach.screens.staff.plan import Counts, write
from coach.screens.staff.slots import Slot, pages
from coach.screens.staff.spread import Ground, prefix_width


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
        return Sheet(Pages(len(parts), draw), starts, width, rows, form.compact, rows <= height)

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
