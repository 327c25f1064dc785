"""One page: which row each staff has and which column each slot, and how it is drawn.

The frame is staff lines, barlines, clef, key, metre, bar numbers, counts and octave lines. The
notes are heads, signs, ties, rests, fingering, stems, beams, flags and tuplet digits. All pages of
a window share the layout of their system.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from coach.score.model import Bar, Barline, Clef, Hand, LineKind, NoteMark
from coach.score.notation import (
    BeamGroup,
    Head,
    Rest,
    Stem,
    Tuplet,
    Value,
    Written,
    clef_at,
    is_dynamic,
    key_positions,
)
from coach.screens.staff.columns import (
    CLEF_WIDTH,
    ChordColumns,
    Slot,
    barline_width,
    find_barline,
    head_width,
    place_slots,
    slot_key,
)
from coach.screens.staff.glyphs import Glyphs, Look
from coach.screens.staff.page import Canvas, Cell, NoteCells, Page, Role
from coach.screens.staff.rows import TOP_LINE, Form, Scale, StaffRows
from coach.screens.staff.texts import (
    FINGERS,
    LINE_STARTS,
    TEXT_OF_LINE,
    PrintName,
    SlotKey,
    SlotKind,
    SlotTexts,
    TextKind,
    place_texts,
)

# Which rows each staff has, and which columns each slot.

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

    def is_held(self, head: Head) -> bool:
        """Whether a head's note was struck before the window."""
        return head.note >= len(self.system.written.excerpt.notes)

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


# What stands there, put down part by part.

_STEM_STEPS = 5
"""How far a stem without a beam rises over its last head, in steps. Own choice: print has seven, an
octave, but rows are dear."""
WHOLE_QUARTERS = 4
"""The length of a whole note."""
_MOST_HOOKS = 3
"""Hooks of a rest that are drawn: more would reach below the staff in the compact form."""


def draw_lines(layout: PageLayout) -> None:
    """The five lines of each staff."""
    glyph = layout.system.glyphs.line
    for staff in layout.system.staves:
        for row in staff.line_rows:
            layout.canvas.put(row, LABEL_WIDTH, glyph * (layout.right - LABEL_WIDTH + 1), Role.LINE)


def draw_barlines(layout: PageLayout) -> None:
    """Barlines inside the page, the line that closes it, dashes where the window cuts a bar."""
    written, cut = layout.system.written, layout.system.glyphs.cut
    bars = written.score.bars
    for slot in layout.slots:
        if slot.kind is SlotKind.BAR:
            bar = written.score.bar_at(slot.onset_quarters)
            _draw_between(layout, layout.at[slot.key], bars[bar.index - 1], bar)
    if layout.is_first and written.starts_cut:
        _draw_line(layout, layout.left - 2, cut)
    elif layout.is_first and written.starts_repeat:
        _draw_between(layout, layout.left - 2, None, written.bars[0])
    following = layout.next_slot
    if following is None and written.ends_cut:
        _draw_line(layout, layout.right, cut)
    elif following is None or following.kind is SlotKind.BAR:
        _draw_between(layout, layout.right, written.score.bar_at(layout.slots[-1].onset_quarters))


def _draw_between(
    layout: PageLayout, column: int, before: Bar | None, bar: Bar | None = None
) -> None:
    """What stands between two bars, its last line in this column."""
    system = layout.system
    look = find_barline(system.glyphs, system.written.score, before, bar)
    kind = before and not before.repeat_end and before.barline
    _draw_line(layout, column, look, every=2 if kind in _BROKEN else 1)
    if bar and bar.repeat_start:
        _draw_repeat_dots(layout, column + 1)
    if before and before.repeat_end:
        _draw_repeat_dots(layout, column - len(look[0]))


_BROKEN = (Barline.DASHED, Barline.DOTTED)
"""Drawn in every second row; where the window cuts a bar the dashes are in all."""


def _draw_line(layout: PageLayout, column: int, look: Look, every: int = 1) -> None:
    canvas = layout.canvas
    top = layout.system.staves[0].line_rows[0]
    bottom = layout.system.staves[-1].line_rows[-1]
    between, on_line = look
    for row in range(top, bottom + 1, every):
        for at, chars in enumerate(zip(between, on_line, strict=True), column + 1 - len(between)):
            char = chars[canvas.role(row, at) is Role.LINE]
            canvas.put(row, at, char, Role.BARLINE)


def _draw_repeat_dots(layout: PageLayout, column: int) -> None:
    for staff in layout.system.staves:
        for position in (3, 5):
            layout.canvas.put(staff.row(position), column, layout.system.glyphs.dot, Role.BARLINE)


def draw_prefix(layout: PageLayout) -> None:
    """Hand, clef, key and metre at the left of each staff."""
    written = layout.system.written
    onset = layout.slots[0].onset_quarters
    bar = written.score.bar_at(onset)
    for staff in layout.system.staves:
        clef = clef_at(written.score, staff.staff, onset)
        _draw_hands(layout, staff)
        _draw_clef(layout, staff, clef, CLEF_COLUMN)
        end = _draw_key(layout, staff, clef, bar.key_fifths, KEY_COLUMN)
        _draw_metre(layout, staff, bar, end)


def _draw_hands(layout: PageLayout, staff: StaffRows) -> None:
    """Which hand plays on this staff; both, one above the other, where both do."""
    heads = layout.system.written.heads
    hands = {head.hand for head in heads if head.staff == staff.staff}
    both = len(hands) > 1
    for hand in hands:
        position = (6 if hand is Hand.RIGHT else 2) if both else 4
        layout.canvas.put(staff.row(position), 0, hand.value, Role.HAND)


_CLEFS = {
    ("G", 2): (
        (TOP_LINE, (" ╭╮", " /\\")),
        (6, (" │╯", " |/")),
        (4, ("╭┼╮", "/|\\")),
        (2, ("╰┼╯", "\\|/")),
        (0, (" ╯ ", " / ")),
    ),
    ("F", 4): (
        (TOP_LINE, ("╭─╮", ".-.")),
        (6, ("● │", "@ |")),
        (4, (" ╭╯", " / ")),
        (2, ("╱  ", "/  ")),
    ),
}
"""The two usual clefs as little drawings, by position, in lines and in plain characters: no letter
of theirs can be taken for a note's name."""


def _draw_clef(layout: PageLayout, staff: StaffRows, clef: Clef, column: int) -> None:
    """The clef as it looks; another one by its letter in brackets on its line. 8 above or below it
    where it is an octave's."""
    position = 2 * (clef.line - 1)
    plain = layout.system.glyphs.line == "-"
    drawing = _CLEFS.get((clef.sign, clef.line), ((position, (f"[{clef.sign}]",) * 2),))
    for at, texts in drawing:
        layout.canvas.put(staff.row(at), column, texts[plain], Role.SIGN)
    if clef.octave:
        beside = staff.row(8 if clef.octave > 0 else 0) + (-1 if clef.octave > 0 else 1)
        layout.canvas.put(beside, column + 1, "8", Role.SIGN)


def _draw_key(layout: PageLayout, staff: StaffRows, clef: Clef, fifths: int, column: int) -> int:
    """The key's signs; returns the column after them."""
    sign = "#" if fifths > 0 else "b"
    for place, position in enumerate(key_positions(fifths, clef)):
        layout.canvas.put(staff.row(position), column + place, sign, Role.SIGN)
    return column + abs(fifths) + (1 if fifths else 0)


def _draw_metre(layout: PageLayout, staff: StaffRows, bar: Bar, column: int) -> None:
    upper, lower = str(bar.metre).split("/")
    width = max(len(upper), len(lower))
    layout.canvas.put(staff.row(6), column, upper.center(width), Role.SIGN)
    layout.canvas.put(staff.row(2), column, lower.center(width), Role.SIGN)


def draw_changes(layout: PageLayout) -> None:
    """Clefs, keys and metres that change inside the page."""
    written = layout.system.written
    for slot in layout.slots:
        column, onset = layout.at[slot.key], slot.onset_quarters
        for staff in layout.system.staves:
            clef = clef_at(written.score, staff.staff, onset)
            if slot.kind is SlotKind.CLEF and _has_clef_change(layout, staff, onset):
                _draw_clef(layout, staff, clef, column)
            if slot.kind is SlotKind.BAR and slot.after:
                _draw_bar_changes(layout, staff, clef, written.score.bar_at(onset), column + 2)


def _has_clef_change(layout: PageLayout, staff: StaffRows, onset: Fraction) -> bool:
    clefs = layout.system.written.score.clefs
    return any(c.staff == staff.staff and c.onset_quarters == onset for c in clefs)


def _draw_bar_changes(
    layout: PageLayout, staff: StaffRows, clef: Clef, bar: Bar, column: int
) -> None:
    before = layout.system.written.score.bars[bar.index - 1]
    if bar.key_fifths != before.key_fifths:
        column = _draw_key(layout, staff, clef, bar.key_fifths, column)
    if bar.metre != before.metre:
        _draw_metre(layout, staff, bar, column)


def draw_bar_numbers(layout: PageLayout) -> None:
    """Printed bar numbers: at the page's beginning and over each barline, where there is room.

    Among fingers a number may be taken for one: there it is boxed, as in print, if that fits.
    """
    score, canvas, row = layout.system.written.score, layout.canvas, layout.system.staves[0].first
    first = score.bar_at(layout.slots[0].onset_quarters)
    places = [(0, [first.words if first.number or first.is_pickup else ""])]
    is_fingered = any(canvas.role(row, at) is Role.FINGER for at in range(canvas.width))
    for slot in layout.slots:
        if slot.kind is SlotKind.BAR:
            number = score.bar_at(slot.onset_quarters).number
            ways = [f"[{number}]", number] if is_fingered and number else [number]
            # It ends over its barline, so that one column parts it from the fingers after it.
            places += [(layout.at[slot.key] + 1, ways)]
    for end, ways in places:
        for text in ways:
            column = max(end - len(text), 0)
            if canvas.is_free(row, max(column - 1, 0), column + len(text) + 1):
                canvas.put(row, column, text, Role.NUMBER)
                break


def draw_counts(layout: PageLayout) -> None:
    """The beat ruler: what is counted, under each onset."""
    written = layout.system.written
    for slot in layout.slots:
        if slot.kind is SlotKind.NOTE:
            text = written.counts.get(slot.onset_quarters, "")
            role = Role.BEAT if slot.onset_quarters in written.beats else Role.COUNT
            if role is Role.COUNT and layout.system.form.narrow:
                continue
            layout.canvas.put(layout.system.rows - 1, layout.at[slot.key], text, role)


def draw_octave_lines(layout: PageLayout) -> None:
    """``8va`` and its dashes over the notes that sound an octave from where they are written."""
    for staff in layout.system.staves:
        if staff.octave is None:
            continue
        runs: list[tuple[int, list[int]]] = []
        cells = sorted(
            (cell[1], head.octave_shift)
            for pairs in layout.heads.values()
            for head, cell in pairs
            if head.staff == staff.staff
        )
        for column, shift in cells:
            if not runs or runs[-1][0] != shift:
                runs.append((shift, []))
            runs[-1][1].append(column)
        for shift, at in runs:
            if shift:
                _draw_octave_line(layout, staff.octave, shift, at[0], at[-1])


def _draw_octave_line(layout: PageLayout, row: int, shift: int, low: int, high: int) -> None:
    name = {1: "8va", 2: "15ma", -1: "8vb", -2: "15mb"}.get(-shift, "8va")
    dashes = "".join("-" if at % 2 == 0 else " " for at in range(high + 1 - low - len(name)))
    layout.canvas.put(row, low, name + dashes, Role.NUMBER)


def draw_ledger_lines(layout: PageLayout) -> None:
    """Short lines through and towards every head outside the staff."""
    for head, (_, column) in _list_heads_on_page(layout):
        staff = layout.rows_of(head.staff)
        above = range(TOP_LINE + 2, head.position + 1, 2)
        below = range(-2, head.position - 1, -2)
        for position in (*above, *below):
            row = staff.row(position)
            for at in range(column - 1, column + width_of(layout, head) + 1):
                if layout.canvas.role(row, at) is Role.BLANK:
                    layout.canvas.put(row, at, layout.system.glyphs.line, Role.LINE)


def _list_heads_on_page(layout: PageLayout) -> Iterator[tuple[Head, tuple[int, int]]]:
    for pairs in layout.heads.values():
        yield from pairs


def draw_ties(layout: PageLayout) -> None:
    """Ties along the pitch row, to the page's edge where the other head is out of sight."""
    for pairs in layout.heads.values():
        for place, (head, (row, column)) in enumerate(pairs):
            if place == 0 and not head.first:
                _draw_tie(layout, row, layout.left - 1, column)
            if head.tied_on:
                following = pairs[place + 1][1][1] if place + 1 < len(pairs) else layout.right
                start = column + width_of(layout, head) + head.value.dots
                _draw_tie(layout, row, start, following)


def _draw_tie(layout: PageLayout, row: int, low: int, high: int) -> None:
    for at in range(low, high):
        if layout.canvas.role(row, at) in (Role.LINE, Role.BLANK, Role.STEM):
            layout.canvas.put(row, at, layout.system.glyphs.tie, Role.TIE)


def draw_signs_and_heads(layout: PageLayout) -> None:
    """Accidentals, heads, dots, and the sign of a broken chord."""
    for key, core in layout.at.items():
        chord = layout.system.chords.get(key)
        if chord is None:
            continue
        _draw_rolled(layout, chord, core)
        for place, head in enumerate(chord.heads):
            row = layout.rows_of(head.staff).row(head.position)
            if head.accidental:
                column = core + chord.sign_column[place]
                layout.canvas.put(row, column, chord.sign_text[place], Role.SIGN)
            role = Role.HELD if layout.is_held(head) else Role.HEAD
            for at, text in head_rows(layout, head):
                layout.canvas.put(at, core + chord.head_column[place], text, role)
            if head.value.dots:
                dots = layout.system.glyphs.dot * head.value.dots
                layout.canvas.put(row, core + chord.core, dots, role)


def _draw_rolled(layout: PageLayout, chord: ChordColumns, core: int) -> None:
    if chord.rolled_column is None:
        return
    glyph = layout.system.glyphs.rolled
    names = frozenset({(NoteMark.ARPEGGIO.value, chord.heads[0].onset_quarters)})
    struck = [head for head in chord.heads if not layout.is_held(head)]
    rows_by_staff = [
        [layout.rows_of(staff).row(head.position) for head in struck if head.staff == staff]
        for staff in sorted(chord.rolled.staves)
    ]
    runs = [[row for rows in rows_by_staff for row in rows]]
    for here in runs if chord.rolled.is_across else rows_by_staff:
        for row in range(min(here), max(here) + 1):
            layout.put_print(row, core + chord.rolled_column, glyph, Role.SIGN, names)


def width_of(layout: PageLayout, head: Head) -> int:
    """Columns of a head on this page."""
    form = layout.system.form
    return head_width(head, form.scale, narrow=form.narrow)


def head_rows(layout: PageLayout, head: Head) -> tuple[tuple[int, str], ...]:
    """The rows of a head and what stands there: filled or hollow, the same block at every size."""
    glyphs, hollow = layout.system.glyphs, head.value.is_hollow
    row = layout.rows_of(head.staff).row(head.position)
    if head.grace:
        return ((row, glyphs.grace),)
    scale = layout.system.form.scale
    if scale is Scale.LARGE:
        texts = glyphs.large_hollow if hollow else glyphs.large_filled
        return tuple((row + place - 1, text) for place, text in enumerate(texts))
    if scale is Scale.FULL:
        return ((row, glyphs.hollow if hollow else glyphs.filled),)
    if head.position % 2:
        text = glyphs.high_hollow if hollow else glyphs.high_filled
    else:
        text = glyphs.low_hollow if hollow else glyphs.low_filled
    return ((row, text[-width_of(layout, head) :]),)


def draw_rests(layout: PageLayout) -> None:
    """Rests in the middle of their staff; those of one of two voices above or below it."""
    written = layout.system.written
    for rest in (*written.rests, *written.inner_rests):
        column = layout.at.get((rest.onset_quarters, SlotKind.NOTE, 0))
        if column is None:
            continue
        staff = layout.rows_of(rest.staff)
        position = 4 if rest.up is None else _find_free_position(layout, staff, rest, column)
        text, rows = _rest_glyphs(layout, staff, rest.value, position)
        names = frozenset() if rest.up is None else frozenset({("rest", rest.onset_quarters)})
        for row in rows:
            layout.put_print(row, column, text, Role.REST, names)
        if rest.value.dots:
            dots = layout.system.glyphs.dot * rest.value.dots
            layout.canvas.put(rows[0], column + 1, dots, Role.REST)


def _find_free_position(layout: PageLayout, staff: StaffRows, rest: Rest, column: int) -> int:
    """Where an inner rest meets no head: outwards from the outer lines."""
    usual = (6, 8, 4, 2, 0) if rest.up else (2, 0, 4, 6, 8)
    taken = (Role.HEAD, Role.SIGN, Role.STEM)

    def is_free(position: int) -> bool:
        rows = _rest_glyphs(layout, staff, rest.value, position)[1]
        return all(layout.canvas.role(row, column) not in taken for row in rows)

    return next((position for position in usual if is_free(position)), usual[0])


def _rest_glyphs(
    layout: PageLayout, staff: StaffRows, value: Value, position: int
) -> tuple[str, list[int]]:
    glyphs, middle = layout.system.glyphs, staff.row(position)
    compact = staff.scale is Scale.COMPACT
    if value.base_quarters >= WHOLE_QUARTERS:
        return (glyphs.low_whole_rest if compact else glyphs.whole_rest), [staff.row(position + 1)]
    if value.base_quarters == 2:
        return (glyphs.low_half_rest if compact else glyphs.half_rest), [staff.row(position + 1)]
    if value.base_quarters == 1:
        return glyphs.quarter_rest, [middle]
    return glyphs.short_rest, [middle + hook for hook in range(min(value.flags, _MOST_HOOKS))]


def draw_texts(layout: PageLayout) -> None:
    """Fingers, touch, dynamics and pedal, each in its lane; the lines that go on from there."""
    for key, core in layout.at.items():
        for staff in layout.system.staves:
            texts = layout.system.texts.get(key, {}).get(staff.staff, {})
            for group in staff.groups:
                for kind, column, text in place_texts(group, texts)[0]:
                    rows = staff.texts[kind]
                    if kind in FINGERS.values() and layout.system.form.stacked_fingers:
                        _stack_fingers(layout, staff, key, kind, rows)
                    else:
                        role = Role.FINGER if kind in FINGERS.values() else Role.PRINT
                        layout.put_print(rows[0], core + column, text.text, role, text.names)
    _draw_long_lines(layout)
    _draw_words(layout)


def _stack_fingers(
    layout: PageLayout, staff: StaffRows, key: SlotKey, kind: TextKind, rows: range
) -> None:
    """One chord's fingers, the highest note's on top."""
    hand = Hand.RIGHT if kind is TextKind.FINGERS_RIGHT else Hand.LEFT
    heads = layout.system.chords[key].heads
    here = [h for h in heads if h.fingering and h.staff == staff.staff and h.hand is hand]
    texts = [h.fingering_words for h in sorted(here, key=lambda h: -h.position)]
    names = frozenset({("fingering", key[0])})
    into = rows[-len(texts) :] if hand is Hand.RIGHT else rows[: len(texts)]
    for row, text in zip(into, texts, strict=True):
        layout.put_print(row, layout.at[key], text, Role.FINGER, names)


def _draw_long_lines(layout: PageLayout) -> None:
    """Hairpins and pedals from their sign to their end, or to the page's edge.

    They keep a cell away from all else in their lane, or fingers and marks would be lost in them.
    """
    struck = (cells[0] for cells in layout.heads.values() if not layout.is_held(cells[0][0]))
    marks = {_mark_cell(layout, first) for first in struck}
    low, high = layout.slots[0].onset_quarters, layout.slots[-1].onset_quarters
    onsets = {slot.onset_quarters: layout.at[slot.key] for slot in layout.slots if slot.is_note}
    for line in layout.system.written.lines:
        if line.start_quarters > high or line.end_quarters <= low or not onsets:
            continue
        staff = layout.rows_of(line.staff)
        row = staff.texts[TEXT_OF_LINE[line.kind]].start
        starts = [x for onset, x in onsets.items() if onset >= line.start_quarters]
        ends = [x for onset, x in onsets.items() if onset >= line.end_quarters]
        glyph = "_" if line.kind is LineKind.PEDAL else layout.system.glyphs.line
        begin = min(starts, default=layout.right) if line.start_quarters >= low else layout.left
        end = min(ends, default=layout.right)
        joins = (glyph, LINE_STARTS[line.kind][-1])
        for column in range(begin, end):
            is_apart = layout.canvas.is_free(row, column - 1, column) or any(
                layout.canvas.holds(row, column - 1, sign) for sign in joins
            )
            near_mark = any((row, at) in marks for at in range(column - 1, column + 2))
            if is_apart and not near_mark and layout.canvas.is_free(row, column, column + 2):
                layout.canvas.put(row, column, glyph, Role.PRINT)


_WORDS_LANES = (TextKind.WORDS, TextKind.DYNAMICS)


def _draw_words(layout: PageLayout) -> None:
    """Words where there is room: by the dynamics, else over the system; not where there is none."""
    onsets = [slot for slot in layout.slots if slot.is_note]
    low, high = layout.slots[0].onset_quarters, layout.slots[-1].onset_quarters
    for one in layout.system.written.directions:
        if is_dynamic(one) or not onsets or not low <= one.onset_quarters <= high:
            continue
        slot = max(
            (s for s in onsets if s.onset_quarters <= one.onset_quarters),
            default=onsets[0],
            key=lambda s: s.onset_quarters,
        )
        staff = layout.rows_of(one.staff)
        names = frozenset({("words", one.onset_quarters)})
        lanes = [staff.texts[k].start for k in _WORDS_LANES if k in staff.texts]
        for row in (*lanes, layout.system.staves[0].first):
            column = layout.at[slot.key]
            if layout.canvas.is_free(row, column - 1, column + len(one.text) + 1):
                layout.put_print(row, column, one.text, Role.PRINT, names)
                break


def stem_column(layout: PageLayout, stem: Stem) -> int | None:
    """The column of a stem, at its heads' right where it goes up, else at their left; None where it
    is on another page."""
    cells = [layout.cells(head) for head in stem.heads]
    columns = [cell[1] for cell in cells if cell]
    if not columns:
        return None
    return min(columns) + (width_of(layout, stem.heads[0]) - 1 if stem.up else 0)


def draw_stems(layout: PageLayout) -> None:
    """Stems: to the beam lane where there is a flag or a digit, else a few steps."""
    written = layout.system.written
    for stem, role in (
        *((stem, Role.HELD) for stem in written.held_stems),
        *((stem, Role.STEM) for stem in written.stems),
    ):
        column = stem_column(layout, stem)
        if column is not None and stem.value.has_stem:
            for row in _stem_rows(layout.rows_of(stem.staff), stem):
                on_line = layout.canvas.role(row, column) is Role.LINE
                glyphs = layout.system.glyphs
                glyph = glyphs.crossing if on_line else glyphs.stem
                layout.canvas.put(row, column, glyph, role)


def _stem_rows(staff: StaffRows, stem: Stem) -> range:
    to_lane = bool(stem.value.flags or stem.value.tuplet)
    steps = _STEM_STEPS - 1
    length = {Scale.COMPACT: _STEM_STEPS // 2, Scale.FULL: steps, Scale.LARGE: 2 * steps}[
        staff.scale
    ]
    if stem.up:
        lane = staff.beams_above if staff.beams_above is not None else staff.pitch_first
        top = lane if to_lane else max(staff.row(stem.highest) - length, lane)
        return range(top, staff.row(stem.lowest))
    lane = staff.beams_below if staff.beams_below is not None else staff.pitch_end - 1
    bottom = lane if to_lane else min(staff.row(stem.lowest) + length, lane)
    return range(staff.row(stem.highest) + 1, bottom + 1)


def draw_beams(layout: PageLayout) -> None:
    """Beams, flags and tuplet digits, in the beam lanes."""
    for group in layout.system.written.beams:
        lane, columns = _beam_lane(layout, group.stems[0]), _columns_of(layout, group.stems)
        if lane is not None and columns:
            _draw_beam(layout, lane, group, columns)
    for tuplet in layout.system.written.tuplets:
        lane, columns = _beam_lane(layout, tuplet.stems[0]), _columns_of(layout, tuplet.stems)
        if lane is not None and columns:
            _draw_digit(layout, lane, tuplet, [*columns.values()])


def _beam_lane(layout: PageLayout, stem: Stem) -> int | None:
    staff = layout.rows_of(stem.staff)
    return staff.beams_above if stem.up else staff.beams_below


def _columns_of(layout: PageLayout, stems: Sequence[Stem]) -> dict[int, int]:
    """The columns of those stems that are on the page, by their places among these."""
    placed = ((place, stem_column(layout, stem)) for place, stem in enumerate(stems))
    return {place: column for place, column in placed if column is not None}


def _draw_beam(
    layout: PageLayout, lane: int, group: BeamGroup, columns_at: Mapping[int, int]
) -> None:
    """A beam, as far as its stems are on the page; a single stem's flag."""
    columns, first = [*columns_at.values()], min(columns_at)
    here = [(group.stems[place], column) for place, column in columns_at.items()]
    flags = [stem.value.flags for stem, _ in here]
    forms = layout.system.glyphs.beams
    if len(here) == 1:
        form = forms[min(flags[0], len(forms)) - 1]
        corner = form.up[0] if here[0][0].up else form.down[0]
        layout.canvas.put(lane, columns[0], corner + form.line, Role.BEAM)
        return
    for place in range(len(here) - 1):
        shared = min(group.count_between(first + place), len(forms))
        gap = columns[place + 1] - columns[place] - 1
        layout.canvas.put(lane, columns[place] + 1, forms[shared - 1].line * gap, Role.BEAM)
    for place, (stem, column) in enumerate(here):
        neighbours = [flags[at] for at in (place - 1, place + 1) if 0 <= at < len(flags)]
        form = forms[min(flags[place], len(forms)) - 1]
        if flags[place] > max(neighbours):  # a stub towards the note before, as in print
            stub = column - 1 if place else column + 1
            layout.canvas.put(lane, stub, form.line, Role.BEAM)
        corners = form.up if stem.up else form.down
        corner = corners[0 if place == 0 else 2 if place == len(here) - 1 else 1]
        layout.canvas.put(lane, column, corner, Role.BEAM)


def _draw_digit(layout: PageLayout, lane: int, tuplet: Tuplet, columns: list[int]) -> None:
    middle = (columns[0] + columns[-1]) // 2
    if len(columns) == 1 or not tuplet.is_beamed:
        middle = columns[len(columns) // 2] + 1  # beside the stem: no beam to stand on
    layout.canvas.put(lane, middle, tuplet.digit, Role.BEAM)


_PARTS = (
    draw_lines,
    draw_barlines,
    draw_prefix,
    draw_ledger_lines,
    draw_stems,
    draw_ties,
    draw_beams,
    draw_signs_and_heads,
    draw_rests,
    draw_octave_lines,
    draw_texts,
    draw_changes,
    draw_bar_numbers,
    draw_counts,
)
"""What comes later is drawn over what came before."""


def draw_page(system: SystemLayout, slots: Sequence[Slot], every_slot: Sequence[Slot]) -> Page:
    """Draw the page that holds ``slots``, out of ``every_slot`` of the window; in the middle."""
    layout = lay_out_page(system, tuple(slots), every_slot)
    for part in _PARTS:
        part(layout)
    aside = max((system.width - layout.right - 1) // 2, 0)
    return Page(
        layout.canvas.rows(aside),
        _find_note_cells(layout, aside),
        slots[0].onset_quarters,
        layout.list_print(),
    )


def _find_note_cells(layout: PageLayout, aside: int) -> dict[int, NoteCells]:
    """Each note's cells on this page; its mark stands under the first of its heads."""
    out = {}
    for note, cells in layout.heads.items():
        if layout.is_held(cells[0][0]):
            continue
        row, column = _mark_cell(layout, cells[0])
        every = tuple(
            (row, x + at + aside)
            for one, (_, x) in cells
            for row, text in head_rows(layout, one)
            for at in range(len(text))
        )
        out[note] = NoteCells(every, (row, column + aside))
    return out


def _mark_cell(layout: PageLayout, placed: tuple[Head, Cell]) -> Cell:
    """Where a note's mark goes: under its head, or behind what is printed there."""
    head, (_, column) = placed
    staff = layout.rows_of(head.staff)
    group = next(group for group in staff.groups if TextKind.MARK in group)
    texts = layout.system.texts.get(slot_key(head), {}).get(staff.staff, {})
    if beside := place_texts(group, texts)[1]:
        column = layout.core(head) + beside
    return staff.marks, column
