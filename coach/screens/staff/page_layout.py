"""The layout of a system and of one page of it: which rows each staff has, which columns each slot.

All pages of a window share a system; drawing (:mod:`.drawing`) puts a page's layout on a canvas.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from coach.score.notation import Head, Written
from coach.screens.staff.columns import (
    CLEF_WIDTH,
    ChordColumns,
    Slot,
    barline_width,
    place_slots,
    slot_key,
)
from coach.screens.staff.glyphs import Glyphs
from coach.screens.staff.page import Canvas, Cell, Role
from coach.screens.staff.rows import Form, StaffRows
from coach.screens.staff.texts import PrintName, SlotKey, SlotTexts

LABEL_WIDTH = 3
"""``RH`` or ``LH`` and a space."""
CLEF_COLUMN = LABEL_WIDTH + 1
"""After the first column of the staff lines."""
KEY_COLUMN = CLEF_COLUMN + CLEF_WIDTH + 1
"""A column of air after the clef."""


@dataclass(frozen=True)
class SystemLayout:
    """All that every page of a sheet is drawn from."""

    written: Written
    staves: tuple[StaffRows, ...]
    rows: int
    chords: Mapping[SlotKey, ChordColumns]
    texts: Mapping[SlotKey, Mapping[int, SlotTexts]]
    """By slot and staff."""
    form: Form
    glyphs: Glyphs
    width: int


@dataclass(frozen=True)
class PageLayout:
    """One page's slots with their columns."""

    system: SystemLayout
    canvas: Canvas
    slots: tuple[Slot, ...]
    at: Mapping[SlotKey, int]
    """The column of each slot's core."""
    heads: Mapping[int, tuple[tuple[Head, Cell], ...]]
    """By note: its heads on this page with their cells, in order of time."""
    left: int
    """The first column after clef, key and metre."""
    right: int
    """The column of the line that closes the page."""
    is_first: bool
    next_slot: Slot | None
    """What follows on the next page."""
    printed: list[tuple[Cell, str, frozenset[PrintName]]]
    """Texts and signs of print that were put down, with the names of what they show."""

    def put_print(
        self, row: int, column: int, text: str, role: Role, names: frozenset[PrintName]
    ) -> None:
        """Put down a text or a sign of print."""
        self.canvas.put(row, column, text, role)
        self.printed.append(((row, column), text, names))

    def list_print(self) -> frozenset[PrintName]:
        """What of it can be read: nothing was put over it since."""
        here = [n for (row, x), text, n in self.printed if self.canvas.holds(row, x, text)]
        return frozenset().union(*here)

    def cells(self, head: Head) -> Cell | None:
        """Where a head is, or None where it is on another page."""
        return next((cell for h, cell in self.heads.get(head.note, ()) if h is head), None)

    def core(self, head: Head) -> int:
        """The column of the slot in which a head of this page stands."""
        return self.at[slot_key(head)]

    def rows_of(self, staff: int) -> StaffRows:
        """The lanes of a staff."""
        return next(rows for rows in self.system.staves if rows.staff == staff)


def prefix_width(written: Written) -> int:
    """Columns before the first slot: hand, clef, key, metre, the dash of a cut bar or a repeat."""
    bars = written.bars
    keys = max(abs(bar.key_fifths) for bar in bars)
    metre = max(len(part) for bar in bars for part in str(bar.metre).split("/"))
    after_key = KEY_COLUMN + (keys + 1 if keys else 0)
    return after_key + metre + 1 + 2 * written.starts_cut + 3 * written.starts_repeat


def lay_out_page(
    system: SystemLayout, slots: tuple[Slot, ...], every_slot: Sequence[Slot]
) -> PageLayout:
    """Give one page's slots their columns, and its heads their cells."""
    left = prefix_width(system.written)
    following = every_slot[[*every_slot].index(slots[-1]) + 1 :]
    closing = _closing_width(system.written, slots[-1], is_last=not following)
    cores = place_slots(slots, left, system.width - left - closing)
    at = {s.key: x for s, x in zip(slots, cores, strict=True)}
    right = cores[-1] + slots[-1].core + slots[-1].after + closing
    is_first = slots[0] is every_slot[0]
    return PageLayout(
        system=system,
        canvas=Canvas(system.rows, system.width),
        slots=slots,
        at=at,
        heads=_place_heads(system, at),
        left=left,
        right=min(right, system.width - 1),
        is_first=is_first,
        next_slot=following[0] if following else None,
        printed=[],
    )


def _closing_width(written: Written, last: Slot, *, is_last: bool) -> int:
    """Columns of the line that closes a page, with a repeat's dots."""
    if is_last and written.ends_cut:
        return 1
    bar = written.score.bar_at(last.onset_quarters)
    return barline_width(written.score, bar) + int(bar.repeat_end)


def _place_heads(
    system: SystemLayout, at: Mapping[SlotKey, int]
) -> dict[int, tuple[tuple[Head, Cell], ...]]:
    rows = {staff.staff: staff for staff in system.staves}
    out: dict[int, list[tuple[Head, Cell]]] = defaultdict(list)
    for key, core in at.items():
        chord = system.chords.get(key)
        for place, head in enumerate(chord.heads if chord else ()):
            assert chord is not None
            cell = rows[head.staff].row(head.position), core + chord.head_column[place]
            out[head.note].append((head, cell))
    return {
        note: tuple(sorted(cells, key=lambda c: c[0].onset_quarters)) for note, cells in out.items()
    }
