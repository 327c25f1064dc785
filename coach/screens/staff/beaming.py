"""Stems, beams, flags and tuplet digits."""

from __future__ import annotations

from coach.screens.staff.beams import BeamGroup
from coach.screens.staff.canvas import Role
from coach.screens.staff.lanes import StaffRows
from coach.screens.staff.spread import Spread
from coach.screens.staff.written import Stem

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
            _digit(spread, lane, group, [column for _, column in here])


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


def _digit(spread: Spread, lane: int, group: BeamGroup, columns: list[int]) -> None:
    if not group.digit:
        return
    middle = (columns[0] + columns[-1]) // 2
    if len(columns) == 1 or not all(stem.value.flags for stem in group.stems):
        middle = columns[len(columns) // 2] + 1  # beside the stem: no beam to stand on
    spread.canvas.put(lane, middle, group.digit, Role.BEAM)
