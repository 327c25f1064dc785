"""One page, drawn: the order in which its parts are put down."""

from __future__ import annotations

from collections.abc import Sequence

from coach.screens.staff import beaming, frame, ink
from coach.screens.staff.page import NoteCells, Page
from coach.screens.staff.slots import Slot
from coach.screens.staff.spread import Ground, Spread, spread_of

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
