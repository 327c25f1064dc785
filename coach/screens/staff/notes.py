"""The notes themselves: heads, signs, ties, rests, fingering.

Stems, beams, flags and tuplet digits.
"""

from __future__ import annotations

from collections.abc import Iterator

from coach.score.model import Hand
from coach.screens.staff.beams import BeamGroup
from coach.screens.staff.canvas import Role
from coach.screens.staff.columns import Chord, SlotKind
from coach.screens.staff.content import slot_key
from coach.screens.staff.rows import TOP_LINE, StaffRows
from coach.screens.staff.spread import Spread
from coach.screens.staff.values import Value
from coach.screens.staff.written import Head, Stem


def ledger_lines(spread: Spread) -> None:
    """Short lines through and towards every head outside the staff."""
    for head, (_, column) in _on_page(spread):
        staff = spread.rows_of(head.staff)
        above = range(TOP_LINE + 2, head.position + 1, 2)
        below = range(-2, head.position - 1, -2)
        for position in (*above, *below):
            row = staff.row(position)
            for at in range(column - 1, column + 2):
                if spread.canvas.role(row, at) is Role.BLANK:
                    spread.canvas.put(row, at, spread.ground.glyphs.line, Role.LINE)


def _on_page(spread: Spread) -> Iterator[tuple[Head, tuple[int, int]]]:
    for pairs in spread.heads.values():
        yield from pairs


def ties(spread: Spread) -> None:
    """Ties along the pitch row, to the page's edge where the other head is out of sight."""
    for pairs in spread.heads.values():
        for place, (head, (row, column)) in enumerate(pairs):
            if place == 0 and not head.first:
                _tie(spread, row, spread.left - 1, column)
            if head.tied_on:
                following = pairs[place + 1][1][1] if place + 1 < len(pairs) else spread.right
                _tie(spread, row, column + 1 + head.value.dots, following)


def _tie(spread: Spread, row: int, low: int, high: int) -> None:
    for at in range(low, high):
        if spread.canvas.role(row, at) in (Role.LINE, Role.BLANK, Role.STEM):
            spread.canvas.put(row, at, spread.ground.glyphs.tie, Role.TIE)


def signs_and_heads(spread: Spread) -> None:
    """Accidentals, heads and dots."""
    for key, core in spread.at.items():
        chord = spread.ground.chords.get(key)
        if chord is None:
            continue
        for place, head in enumerate(chord.heads):
            row = spread.rows_of(head.staff).row(head.position)
            if head.accidental:
                column = core + chord.sign_column[place]
                spread.canvas.put(row, column, head.accidental, Role.SIGN)
            glyph = head_glyph(spread, head)
            spread.canvas.put(row, core + chord.head_column[place], glyph, Role.HEAD)
            if head.value.dots:
                dots = spread.ground.glyphs.dot * head.value.dots
                spread.canvas.put(row, core + chord.core, dots, Role.HEAD)


def head_glyph(spread: Spread, head: Head) -> str:
    """Filled or hollow; in the compact form on its line or in the space above it."""
    glyphs = spread.ground.glyphs
    if head.grace:
        return glyphs.grace
    if not spread.ground.form.compact:
        return glyphs.hollow if head.value.is_hollow else glyphs.filled
    if head.position % 2:
        return glyphs.high_hollow if head.value.is_hollow else glyphs.high_filled
    return glyphs.low_hollow if head.value.is_hollow else glyphs.low_filled


def rests(spread: Spread) -> None:
    """Rests in the middle of their staff."""
    for rest in spread.ground.written.rests:
        column = spread.at.get((rest.onset_quarters, SlotKind.NOTE, 0))
        if column is not None:
            staff = spread.rows_of(rest.staff)
            text, rows = _rest_glyphs(spread, staff, rest.value)
            for row in rows:
                spread.canvas.put(row, column, text, Role.REST)
            if rest.value.dots:
                dots = spread.ground.glyphs.dot * rest.value.dots
                spread.canvas.put(rows[0], column + 1, dots, Role.REST)


def _rest_glyphs(spread: Spread, staff: StaffRows, value: Value) -> tuple[str, list[int]]:
    glyphs, middle = spread.ground.glyphs, staff.row(4)
    if value.base_quarters >= 4:
        return (glyphs.low_whole_rest if staff.compact else glyphs.whole_rest), [staff.row(5)]
    if value.base_quarters == 2:
        return (glyphs.low_half_rest if staff.compact else glyphs.half_rest), [staff.row(5)]
    if value.base_quarters == 1:
        return glyphs.quarter_rest, [middle]
    return glyphs.short_rest, [middle + hook for hook in range(min(value.flags, 3))]


def fingering(spread: Spread) -> None:
    """Fingers as printed: the right hand's above its staff, the left hand's below."""
    for key, core in spread.at.items():
        chord = spread.ground.chords.get(key)
        for staff in spread.ground.staves if chord else ():
            for hand in Hand:
                heads = _fingered(chord, staff.staff, hand)
                if heads:
                    _fingers(spread, staff, core, heads, hand)


def fingers_width(spread: Spread, head: Head) -> int:
    """Columns that the fingers take side by side in the slot of a head; at least 1."""
    chord = spread.ground.chords[slot_key(head)]
    lower = [*spread.rows_of(head.staff).fingers_below]
    hand = Hand.LEFT if lower else Hand.RIGHT
    return max(sum(len(_text(one)) for one in _fingered(chord, head.staff, hand)), 1)


def _fingered(chord: Chord | None, staff: int, hand: Hand) -> list[Head]:
    """The heads of a slot that have a finger of this hand on this staff, the lowest first."""
    heads = chord.heads if chord else ()
    here = [h for h in heads if h.fingering and h.staff == staff and h.hand is hand]
    return sorted(here, key=lambda head: head.position)


def _text(head: Head) -> str:
    return "-".join(head.fingering)


def _fingers(spread: Spread, staff: StaffRows, column: int, heads: list[Head], hand: Hand) -> None:
    """One chord's fingers: stacked, the highest note's on top, or side by side from the lowest."""
    texts = [_text(head) for head in heads]
    lane = staff.fingers_above if hand is Hand.RIGHT else staff.fingers_below
    if not spread.ground.form.stacked_fingers:
        spread.canvas.put(lane[0], column, "".join(texts), Role.FINGER)
        return
    rows = lane[-len(texts) :] if hand is Hand.RIGHT else lane[: len(texts)]
    for row, text in zip(rows, reversed(texts), strict=True):
        spread.canvas.put(row, column, text, Role.FINGER)


_STEM_STEPS = 5
"""How far a stem without a beam rises over its last head, in steps."""


def stem_column(spread: Spread, stem: Stem) -> int | None:
    """The column of a stem, None where it is on another page."""
    cells = [spread.cells(head) for head in stem.heads]
    columns = [cell[1] for cell in cells if cell]
    return min(columns) if columns else None


def stems(spread: Spread) -> None:
    """Stems: to the beam lane where there is a flag or a digit, else a few steps."""
    for stem in spread.ground.written.stems:
        column = stem_column(spread, stem)
        if column is not None and stem.value.has_stem:
            for row in _stem_rows(spread.rows_of(stem.staff), stem):
                on_line = spread.canvas.role(row, column) is Role.LINE
                glyphs = spread.ground.glyphs
                glyph = glyphs.crossing if on_line else glyphs.stem
                spread.canvas.put(row, column, glyph, Role.STEM)


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


def beams(spread: Spread) -> None:
    """Beams, flags and tuplet digits, in the beam lanes."""
    for group in spread.ground.written.beams:
        staff = spread.rows_of(group.stems[0].staff)
        lane = staff.beams_above if group.stems[0].up else staff.beams_below
        placed = [(stem, stem_column(spread, stem)) for stem in group.stems]
        here = [(stem, column) for stem, column in placed if column is not None]
        if lane is not None and here:
            _beam(spread, lane, here)
            _draw_digit(spread, lane, group, [column for _, column in here])


def _beam(spread: Spread, lane: int, here: list[tuple[Stem, int]]) -> None:
    flags = [stem.value.flags for stem, _ in here]
    columns = [column for _, column in here]
    if not all(flags):
        return
    forms = spread.ground.glyphs.beams
    if len(here) == 1:
        form = forms[min(flags[0], 3) - 1]
        corner = form.up[0] if here[0][0].up else form.down[0]
        spread.canvas.put(lane, columns[0], corner + form.line, Role.BEAM)
        return
    for place in range(len(here) - 1):
        shared = min(flags[place], flags[place + 1], 3)
        gap = columns[place + 1] - columns[place] - 1
        spread.canvas.put(lane, columns[place] + 1, forms[shared - 1].line * gap, Role.BEAM)
    for place, (stem, column) in enumerate(here):
        neighbours = [flags[at] for at in (place - 1, place + 1) if 0 <= at < len(flags)]
        form = forms[min(flags[place], 3) - 1]
        if flags[place] > max(neighbours):  # a stub towards the note before, as in print
            stub = column - 1 if place else column + 1
            spread.canvas.put(lane, stub, form.line, Role.BEAM)
        corners = form.up if stem.up else form.down
        corner = corners[0 if place == 0 else 2 if place == len(here) - 1 else 1]
        spread.canvas.put(lane, column, corner, Role.BEAM)


def _draw_digit(spread: Spread, lane: int, group: BeamGroup, columns: list[int]) -> None:
    if not group.digit:
        return
    middle = (columns[0] + columns[-1]) // 2
    if len(columns) == 1 or not all(stem.value.flags for stem in group.stems):
        middle = columns[len(columns) // 2] + 1  # beside the stem: no beam to stand on
    spread.canvas.put(lane, middle, group.digit, Role.BEAM)
