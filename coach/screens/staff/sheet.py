"""The staff of a window, laid out: rows of cells, and for each note the cells it has.

The one door of this package. The layout is made once for a window and a size; marks while
playing only change cells that it names.
"""

from __future__ import annotations

from coach.score.counting import syllables
from coach.score.model import Score
from coach.score.window import Excerpt
from coach.screens.staff.draw import draw_page
from coach.screens.staff.glyphs import UNICODE, Glyphs
from coach.screens.staff.lanes import FORMS, Form, StaffRows, system_rows
from coach.screens.staff.page import Sheet
from coach.screens.staff.plan import Counts, Written, chords_of, slots_of, write
from coach.screens.staff.slots import pages
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

    The roomiest form whose rows fit is taken; columns that do not fit become pages, by time.
    ``counts`` gives what is counted aloud at each onset.
    """
    plain = write(score, excerpt, counts)
    form, staves, rows, written = _fitting(plain, height, counts)
    chords = chords_of(written)
    slots = slots_of(written, chords, form)
    ground = Ground(written, staves, rows, chords, form, glyphs, width)
    room = max(width - prefix_width(written) - 2, 8)
    parts = pages(slots, room, written.beats)
    drawn = tuple(draw_page(ground, slots[part.start : part.stop], slots) for part in parts)
    return Sheet(drawn, width, rows, form.compact, rows <= height)


def _fitting(
    plain: Written, height: int, counts: Counts
) -> tuple[Form, tuple[StaffRows, ...], int, Written]:
    for form in FORMS:
        written = write(plain.score, plain.excerpt, counts, fold=True) if form.folded else plain
        staves, rows = system_rows(written.heads, written.stems, form)
        if rows <= height:
            break
    return form, staves, rows, written
