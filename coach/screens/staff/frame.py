"""The page's frame: staff lines, barlines, clef, key, metre, bar numbers, counts, octave lines."""

from __future__ import annotations

from fractions import Fraction

from coach.score.model import Bar, Clef, Hand
from coach.screens.staff.canvas import Role
from coach.screens.staff.clefs import clef_at, key_positions
from coach.screens.staff.columns import SlotKind
from coach.screens.staff.rows import StaffRows
from coach.screens.staff.spread import LABEL_WIDTH, Spread


def lines(spread: Spread) -> None:
    """The five lines of each staff."""
    glyph = spread.ground.glyphs.line
    for staff in spread.ground.staves:
        for row in staff.line_rows:
            spread.canvas.put(row, LABEL_WIDTH, glyph * (spread.right - LABEL_WIDTH + 1), Role.LINE)


def barlines(spread: Spread) -> None:
    """Barlines inside the page, the line that closes it, dashes where the window cuts a bar."""
    bars = spread.ground.written.score.bars
    for slot in spread.slots:
        if slot.kind is SlotKind.BAR:
            bar = spread.ground.written.score.bar_at(slot.onset_quarters)
            column = spread.at[slot.key]
            _vertical(spread, column, cut=False)
            if bar.repeat_start:
                _repeat_dots(spread, column + 1)
            if bar.index and bars[bar.index - 1].repeat_end:
                _repeat_dots(spread, column - 1)
    if spread.is_first and spread.ground.written.starts_cut:
        _vertical(spread, spread.left - 2, cut=True)
    if spread.next_slot is None:
        _vertical(spread, spread.right, cut=spread.ground.written.ends_cut)
    elif spread.next_slot.kind is SlotKind.BAR:
        _vertical(spread, spread.right, cut=False)


def _vertical(spread: Spread, column: int, *, cut: bool) -> None:
    glyphs, canvas = spread.ground.glyphs, spread.canvas
    top = spread.ground.staves[0].line_rows[0]
    bottom = spread.ground.staves[-1].line_rows[-1]
    for row in range(top, bottom + 1):
        on_line = canvas.role(row, column) is Role.LINE
        bar = glyphs.crossing if on_line else glyphs.bar
        canvas.put(row, column, glyphs.cut if cut else bar, Role.BARLINE)


def _repeat_dots(spread: Spread, column: int) -> None:
    for staff in spread.ground.staves:
        for position in (3, 5):
            spread.canvas.put(staff.row(position), column, spread.ground.glyphs.dot, Role.BARLINE)


def prefix(spread: Spread) -> None:
    """Hand, clef, key and metre at the left of each staff."""
    written = spread.ground.written
    onset = spread.slots[0].onset_quarters
    bar = written.score.bar_at(onset)
    for staff in spread.ground.staves:
        clef = clef_at(written.score, staff.staff, onset)
        _hands(spread, staff)
        _clef(spread, staff, clef, LABEL_WIDTH + 1)
        end = _key(spread, staff, clef, bar.key_fifths, LABEL_WIDTH + 3)
        _metre(spread, staff, bar, end)


def _hands(spread: Spread, staff: StaffRows) -> None:
    """Which hand plays on this staff; both, one above the other, where both do."""
    heads = spread.ground.written.heads
    hands = {head.hand for head in heads if head.staff == staff.staff}
    both = len(hands) > 1
    for hand in hands:
        position = (6 if hand is Hand.RIGHT else 2) if both else 4
        spread.canvas.put(staff.row(position), 0, hand.value, Role.HAND)


def _clef(spread: Spread, staff: StaffRows, clef: Clef, column: int) -> None:
    """The clef's letter on the line that it names; 8 above or below it where it is an octave's."""
    position = 2 * (clef.line - 1)
    spread.canvas.put(staff.row(position), column, clef.sign, Role.SIGN)
    if clef.octave:
        beside = staff.row(position) + (-1 if clef.octave > 0 else 1)
        spread.canvas.put(beside, column, "8", Role.SIGN)


def _key(spread: Spread, staff: StaffRows, clef: Clef, fifths: int, column: int) -> int:
    """The key's signs; returns the column after them."""
    sign = "#" if fifths > 0 else "b"
    for place, position in enumerate(key_positions(fifths, clef)):
        spread.canvas.put(staff.row(position), column + place, sign, Role.SIGN)
    return column + abs(fifths) + (1 if fifths else 0)


def _metre(spread: Spread, staff: StaffRows, bar: Bar, column: int) -> None:
    upper, lower = str(bar.metre).split("/")
    width = max(len(upper), len(lower))
    spread.canvas.put(staff.row(6), column, upper.center(width), Role.SIGN)
    spread.canvas.put(staff.row(2), column, lower.center(width), Role.SIGN)


def changes(spread: Spread) -> None:
    """Clefs, keys and metres that change inside the page."""
    written = spread.ground.written
    for slot in spread.slots:
        column, onset = spread.at[slot.key], slot.onset_quarters
        for staff in spread.ground.staves:
            clef = clef_at(written.score, staff.staff, onset)
            if slot.kind is SlotKind.CLEF and _changes_here(spread, staff, onset):
                _clef(spread, staff, clef, column)
            if slot.kind is SlotKind.BAR and slot.after:
                _bar_changes(spread, staff, clef, written.score.bar_at(onset), column + 2)


def _changes_here(spread: Spread, staff: StaffRows, onset: Fraction) -> bool:
    clefs = spread.ground.written.score.clefs
    return any(c.staff == staff.staff and c.onset_quarters == onset for c in clefs)


def _bar_changes(spread: Spread, staff: StaffRows, clef: Clef, bar: Bar, column: int) -> None:
    before = spread.ground.written.score.bars[bar.index - 1]
    if bar.key_fifths != before.key_fifths:
        column = _key(spread, staff, clef, bar.key_fifths, column)
    if bar.metre != before.metre:
        _metre(spread, staff, bar, column)


def bar_numbers(spread: Spread) -> None:
    """Printed bar numbers: at the page's beginning and over each barline, where there is room."""
    score = spread.ground.written.score
    first = score.bar_at(spread.slots[0].onset_quarters)
    places = [(0, first.words if first.number or first.is_pickup else "")]
    for slot in spread.slots:
        if slot.kind is SlotKind.BAR:
            number = score.bar_at(slot.onset_quarters).number
            # It ends over its barline, so that one column parts it from the fingers after it.
            places.append((spread.at[slot.key] - len(number) + 1, number))
    for column, text in places:
        row = spread.ground.staves[0].first
        if spread.canvas.is_free(row, max(column - 1, 0), column + len(text) + 1):
            spread.canvas.put(row, column, text, Role.NUMBER)


def counts(spread: Spread) -> None:
    """The beat ruler: what is counted, under each onset."""
    written = spread.ground.written
    for slot in spread.slots:
        if slot.kind is SlotKind.NOTE:
            text = written.counts.get(slot.onset_quarters, "")
            role = Role.BEAT if slot.onset_quarters in written.beats else Role.COUNT
            spread.canvas.put(spread.ground.rows - 1, spread.at[slot.key], text, role)


def octave_lines(spread: Spread) -> None:
    """``8va`` and its dashes over the notes that sound an octave from where they are written."""
    for staff in spread.ground.staves:
        if staff.octave is None:
            continue
        runs: list[tuple[int, list[int]]] = []
        cells = sorted(
            (cell[1], head.octave_shift)
            for pairs in spread.heads.values()
            for head, cell in pairs
            if head.staff == staff.staff
        )
        for column, shift in cells:
            if not runs or runs[-1][0] != shift:
                runs.append((shift, []))
            runs[-1][1].append(column)
        for shift, at in runs:
            if shift:
                _octave_line(spread, staff.octave, shift, at[0], at[-1])


def _octave_line(spread: Spread, row: int, shift: int, low: int, high: int) -> None:
    name = {1: "8va", 2: "15ma", -1: "8vb", -2: "15mb"}.get(-shift, "8va")
    dashes = "".join("-" if at % 2 == 0 else " " for at in range(high + 1 - low - len(name)))
    spread.canvas.put(row, low, name + dashes, Role.NUMBER)
