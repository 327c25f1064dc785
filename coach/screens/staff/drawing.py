"""Drawing one page: its frame, its notes, and the order in which its parts are put down.

The frame is staff lines, barlines, clef, key, metre, bar numbers, counts and octave lines. The
notes are heads, signs, ties, rests, fingering, stems, beams, flags and tuplet digits.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from coach.score.model import Bar, Clef, Hand
from coach.score.notation import BeamGroup, Head, Stem, Value, clef_at, key_positions
from coach.screens.staff.canvas import Role
from coach.screens.staff.columns import ChordColumns, Slot, SlotKind, slot_key
from coach.screens.staff.page import NoteCells, Page
from coach.screens.staff.page_layout import (
    CLEF_COLUMN,
    KEY_COLUMN,
    LABEL_WIDTH,
    PageLayout,
    SystemLayout,
    lay_out_page,
)
from coach.screens.staff.rows import TOP_LINE, StaffRows

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
    bars = layout.system.written.score.bars
    for slot in layout.slots:
        if slot.kind is SlotKind.BAR:
            bar = layout.system.written.score.bar_at(slot.onset_quarters)
            column = layout.at[slot.key]
            _draw_barline(layout, column, cut=False)
            if bar.repeat_start:
                _draw_repeat_dots(layout, column + 1)
            if bar.index and bars[bar.index - 1].repeat_end:
                _draw_repeat_dots(layout, column - 1)
    if layout.is_first and layout.system.written.starts_cut:
        _draw_barline(layout, layout.left - 2, cut=True)
    if layout.next_slot is None:
        _draw_barline(layout, layout.right, cut=layout.system.written.ends_cut)
    elif layout.next_slot.kind is SlotKind.BAR:
        _draw_barline(layout, layout.right, cut=False)


def _draw_barline(layout: PageLayout, column: int, *, cut: bool) -> None:
    glyphs, canvas = layout.system.glyphs, layout.canvas
    top = layout.system.staves[0].line_rows[0]
    bottom = layout.system.staves[-1].line_rows[-1]
    for row in range(top, bottom + 1):
        on_line = canvas.role(row, column) is Role.LINE
        bar = glyphs.crossing if on_line else glyphs.bar
        canvas.put(row, column, glyphs.cut if cut else bar, Role.BARLINE)


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


def _draw_clef(layout: PageLayout, staff: StaffRows, clef: Clef, column: int) -> None:
    """The clef's letter on the line that it names; 8 above or below it where it is an octave's."""
    position = 2 * (clef.line - 1)
    layout.canvas.put(staff.row(position), column, clef.sign, Role.SIGN)
    if clef.octave:
        beside = staff.row(position) + (-1 if clef.octave > 0 else 1)
        layout.canvas.put(beside, column, "8", Role.SIGN)


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
    """Printed bar numbers: at the page's beginning and over each barline, where there is room."""
    score = layout.system.written.score
    first = score.bar_at(layout.slots[0].onset_quarters)
    places = [(0, first.words if first.number or first.is_pickup else "")]
    for slot in layout.slots:
        if slot.kind is SlotKind.BAR:
            number = score.bar_at(slot.onset_quarters).number
            # It ends over its barline, so that one column parts it from the fingers after it.
            places.append((layout.at[slot.key] - len(number) + 1, number))
    for column, text in places:
        row = layout.system.staves[0].first
        if layout.canvas.is_free(row, max(column - 1, 0), column + len(text) + 1):
            layout.canvas.put(row, column, text, Role.NUMBER)


def draw_counts(layout: PageLayout) -> None:
    """The beat ruler: what is counted, under each onset."""
    written = layout.system.written
    for slot in layout.slots:
        if slot.kind is SlotKind.NOTE:
            text = written.counts.get(slot.onset_quarters, "")
            role = Role.BEAT if slot.onset_quarters in written.beats else Role.COUNT
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
            for at in range(column - 1, column + 2):
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
                _draw_tie(layout, row, column + 1 + head.value.dots, following)


def _draw_tie(layout: PageLayout, row: int, low: int, high: int) -> None:
    for at in range(low, high):
        if layout.canvas.role(row, at) in (Role.LINE, Role.BLANK, Role.STEM):
            layout.canvas.put(row, at, layout.system.glyphs.tie, Role.TIE)


def draw_signs_and_heads(layout: PageLayout) -> None:
    """Accidentals, heads and dots."""
    for key, core in layout.at.items():
        chord = layout.system.chords.get(key)
        if chord is None:
            continue
        for place, head in enumerate(chord.heads):
            row = layout.rows_of(head.staff).row(head.position)
            if head.accidental:
                column = core + chord.sign_column[place]
                layout.canvas.put(row, column, head.accidental, Role.SIGN)
            glyph = head_glyph(layout, head)
            layout.canvas.put(row, core + chord.head_column[place], glyph, Role.HEAD)
            if head.value.dots:
                dots = layout.system.glyphs.dot * head.value.dots
                layout.canvas.put(row, core + chord.core, dots, Role.HEAD)


def head_glyph(layout: PageLayout, head: Head) -> str:
    """Filled or hollow; in the compact form on its line or in the space above it."""
    glyphs = layout.system.glyphs
    if head.grace:
        return glyphs.grace
    if not layout.system.form.compact:
        return glyphs.hollow if head.value.is_hollow else glyphs.filled
    if head.position % 2:
        return glyphs.high_hollow if head.value.is_hollow else glyphs.high_filled
    return glyphs.low_hollow if head.value.is_hollow else glyphs.low_filled


def draw_rests(layout: PageLayout) -> None:
    """Rests in the middle of their staff."""
    for rest in layout.system.written.rests:
        column = layout.at.get((rest.onset_quarters, SlotKind.NOTE, 0))
        if column is not None:
            staff = layout.rows_of(rest.staff)
            text, rows = _rest_glyphs(layout, staff, rest.value)
            for row in rows:
                layout.canvas.put(row, column, text, Role.REST)
            if rest.value.dots:
                dots = layout.system.glyphs.dot * rest.value.dots
                layout.canvas.put(rows[0], column + 1, dots, Role.REST)


def _rest_glyphs(layout: PageLayout, staff: StaffRows, value: Value) -> tuple[str, list[int]]:
    glyphs, middle = layout.system.glyphs, staff.row(4)
    if value.base_quarters >= WHOLE_QUARTERS:
        return (glyphs.low_whole_rest if staff.compact else glyphs.whole_rest), [staff.row(5)]
    if value.base_quarters == 2:
        return (glyphs.low_half_rest if staff.compact else glyphs.half_rest), [staff.row(5)]
    if value.base_quarters == 1:
        return glyphs.quarter_rest, [middle]
    return glyphs.short_rest, [middle + hook for hook in range(min(value.flags, _MOST_HOOKS))]


def draw_fingering(layout: PageLayout) -> None:
    """Fingers as printed: the right hand's above its staff, the left hand's below."""
    for key, core in layout.at.items():
        chord = layout.system.chords.get(key)
        for staff in layout.system.staves if chord else ():
            for hand in Hand:
                heads = _find_fingered(chord, staff.staff, hand)
                if heads:
                    _draw_fingers(layout, staff, core, heads, hand)


def fingers_width(layout: PageLayout, head: Head) -> int:
    """Columns that the fingers take side by side in the slot of a head; at least 1."""
    chord = layout.system.chords[slot_key(head)]
    lower = [*layout.rows_of(head.staff).fingers_below]
    hand = Hand.LEFT if lower else Hand.RIGHT
    return max(sum(len(_finger_text(one)) for one in _find_fingered(chord, head.staff, hand)), 1)


def _find_fingered(chord: ChordColumns | None, staff: int, hand: Hand) -> list[Head]:
    """The heads of a slot that have a finger of this hand on this staff, the lowest first."""
    heads = chord.heads if chord else ()
    here = [h for h in heads if h.fingering and h.staff == staff and h.hand is hand]
    return sorted(here, key=lambda head: head.position)


def _finger_text(head: Head) -> str:
    return "-".join(head.fingering)


def _draw_fingers(
    layout: PageLayout, staff: StaffRows, column: int, heads: list[Head], hand: Hand
) -> None:
    """One chord's fingers: stacked, the highest note's on top, or side by side from the lowest."""
    texts = [_finger_text(head) for head in heads]
    lane = staff.fingers_above if hand is Hand.RIGHT else staff.fingers_below
    if not layout.system.form.stacked_fingers:
        layout.canvas.put(lane[0], column, "".join(texts), Role.FINGER)
        return
    rows = lane[-len(texts) :] if hand is Hand.RIGHT else lane[: len(texts)]
    for row, text in zip(rows, reversed(texts), strict=True):
        layout.canvas.put(row, column, text, Role.FINGER)


def stem_column(layout: PageLayout, stem: Stem) -> int | None:
    """The column of a stem, None where it is on another page."""
    cells = [layout.cells(head) for head in stem.heads]
    columns = [cell[1] for cell in cells if cell]
    return min(columns) if columns else None


def draw_stems(layout: PageLayout) -> None:
    """Stems: to the beam lane where there is a flag or a digit, else a few steps."""
    for stem in layout.system.written.stems:
        column = stem_column(layout, stem)
        if column is not None and stem.value.has_stem:
            for row in _stem_rows(layout.rows_of(stem.staff), stem):
                on_line = layout.canvas.role(row, column) is Role.LINE
                glyphs = layout.system.glyphs
                glyph = glyphs.crossing if on_line else glyphs.stem
                layout.canvas.put(row, column, glyph, Role.STEM)


def _stem_rows(staff: StaffRows, stem: Stem) -> range:
    to_lane = bool(stem.value.flags or stem.value.tuplet)
    length = _STEM_STEPS // 2 if staff.compact else _STEM_STEPS - 1
    if stem.up:
        lane = staff.beams_above if staff.beams_above is not None else staff.pitch_first
        top = lane if to_lane else max(staff.row(stem.highest) - length, lane)
        return range(top, staff.row(stem.lowest))
    lane = staff.beams_below if staff.beams_below is not None else staff.marks - 1
    bottom = lane if to_lane else min(staff.row(stem.lowest) + length, lane)
    return range(staff.row(stem.highest) + 1, bottom + 1)


def draw_beams(layout: PageLayout) -> None:
    """Beams, flags and tuplet digits, in the beam lanes."""
    for group in layout.system.written.beams:
        staff = layout.rows_of(group.stems[0].staff)
        lane = staff.beams_above if group.stems[0].up else staff.beams_below
        placed = [(stem, stem_column(layout, stem)) for stem in group.stems]
        here = [(stem, column) for stem, column in placed if column is not None]
        if lane is not None and here:
            _draw_beam(layout, lane, here)
            _draw_digit(layout, lane, group, [column for _, column in here])


def _draw_beam(layout: PageLayout, lane: int, here: list[tuple[Stem, int]]) -> None:
    flags = [stem.value.flags for stem, _ in here]
    columns = [column for _, column in here]
    if not all(flags):
        return
    forms = layout.system.glyphs.beams
    if len(here) == 1:
        form = forms[min(flags[0], len(forms)) - 1]
        corner = form.up[0] if here[0][0].up else form.down[0]
        layout.canvas.put(lane, columns[0], corner + form.line, Role.BEAM)
        return
    for place in range(len(here) - 1):
        shared = min(flags[place], flags[place + 1], len(forms))
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


def _draw_digit(layout: PageLayout, lane: int, group: BeamGroup, columns: list[int]) -> None:
    if not group.digit:
        return
    middle = (columns[0] + columns[-1]) // 2
    if len(columns) == 1 or not all(stem.value.flags for stem in group.stems):
        middle = columns[len(columns) // 2] + 1  # beside the stem: no beam to stand on
    layout.canvas.put(lane, middle, group.digit, Role.BEAM)


_PARTS = (
    draw_lines,
    draw_barlines,
    draw_prefix,
    draw_ledger_lines,
    draw_stems,
    draw_ties,
    draw_signs_and_heads,
    draw_rests,
    draw_beams,
    draw_fingering,
    draw_octave_lines,
    draw_changes,
    draw_bar_numbers,
    draw_counts,
)
"""What comes later is drawn over what came before."""


def draw_page(system: SystemLayout, slots: Sequence[Slot], every_slot: Sequence[Slot]) -> Page:
    """Draw the page that holds ``slots``, out of ``every_slot`` of the window."""
    layout = lay_out_page(system, tuple(slots), every_slot)
    for part in _PARTS:
        part(layout)
    return Page(layout.canvas.rows(), _find_note_cells(layout), slots[0].onset_quarters)


def _find_note_cells(layout: PageLayout) -> dict[int, NoteCells]:
    """Each note's cells on this page; its mark stands under the first of its heads."""
    out = {}
    for note, cells in layout.heads.items():
        head, (_, column) = cells[0]
        staff = layout.rows_of(head.staff)
        if staff.marks_beside:
            column = layout.core(head) + fingers_width(layout, head)
        mark = staff.marks, column
        out[note] = NoteCells(tuple(cell for _, cell in cells), mark)
    return out
