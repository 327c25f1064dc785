"""Rows: the lanes of each staff, from the top down, and how they fold when rows are short.

Each staff has, from the top: the octave line, the right hand's fingering, the beams above, the
pitch rows, the beams below, the marks, the left hand's fingering. Lanes that would stay empty
are left out. Fingering stands outside the beams, as in print, so that no digit cuts a stem.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from coach.score.model import Hand
from coach.score.notation import Head, Stem

TOP_LINE = 8
"""Position of a staff's top line; the bottom line is 0."""


@dataclass(frozen=True, slots=True)
class Form:
    """How much room is taken: one of several forms, the roomiest first."""

    compact: bool
    """Two steps a row."""
    stacked_fingers: bool
    """One row for each finger of a chord; otherwise side by side."""
    gap: int
    """Empty rows between the staves."""
    marks_beside_fingers: bool = False
    """Marks in the fingering lane, one column to the right, where the staff has one."""
    folded: bool = False
    """Far ledger lines written an octave nearer, under an octave line."""


FORMS = (
    Form(compact=False, stacked_fingers=True, gap=1),
    Form(compact=False, stacked_fingers=False, gap=0),
    Form(compact=True, stacked_fingers=True, gap=1),
    Form(compact=True, stacked_fingers=False, gap=0),
    Form(compact=True, stacked_fingers=False, gap=0, marks_beside_fingers=True),
    Form(compact=True, stacked_fingers=False, gap=0, marks_beside_fingers=True, folded=True),
)


@dataclass(frozen=True, slots=True)
class StaffRows:
    """Where the lanes of one staff lie, by row of the sheet."""

    staff: int
    compact: bool
    first: int
    """The topmost row of any lane."""
    octave: int | None
    fingers_above: range
    beams_above: int | None
    pitch_first: int
    highest: int
    """The highest position that has a row."""
    lowest: int
    beams_below: int | None
    marks: int
    marks_beside: bool
    """The marks stand beside the fingers of their lane."""
    fingers_below: range
    end: int
    """The row after the last lane."""

    def row(self, position: int) -> int:
        """The row of a position: 0 is the bottom line, each step is one row or half a row."""
        if self.compact:
            return self.pitch_first + self.highest // 2 - position // 2
        return self.pitch_first + self.highest - position

    @property
    def line_rows(self) -> tuple[int, ...]:
        """Rows of the five lines, from the top."""
        return tuple(self.row(position) for position in range(TOP_LINE, -1, -2))


def lay_staff_rows(
    staff: int, heads: Sequence[Head], stems: Sequence[Stem], form: Form, first: int
) -> StaffRows:
    """The lanes of one staff, its topmost at row ``first``."""
    highest = max([TOP_LINE, *(head.position for head in heads)])
    lowest = min([0, *(head.position for head in heads)])
    at = first
    octave = None
    if any(head.octave_shift for head in heads):
        octave, at = at, at + 1
    above = _count_finger_rows(heads, Hand.RIGHT, form)
    fingers_above = range(at, at + above)
    at += above
    beams_above = None
    if any(stem.up and _needs_lane(stem, highest) for stem in stems) or at == first:
        beams_above, at = at, at + 1
    pitch_first = at
    at += highest // 2 - lowest // 2 + 1 if form.compact else highest - lowest + 1
    beams_below = None
    if any(not stem.up and _needs_lane(stem, lowest) for stem in stems):
        beams_below, at = at, at + 1
    below = _count_finger_rows(heads, Hand.LEFT, form)
    marks_beside = form.marks_beside_fingers and bool(above or below)
    marks = fingers_above.start if marks_beside and not below else at
    at += 0 if marks_beside else 1
    return StaffRows(
        staff=staff,
        compact=form.compact,
        first=first,
        octave=octave,
        fingers_above=fingers_above,
        beams_above=beams_above,
        pitch_first=pitch_first,
        highest=highest,
        lowest=lowest,
        beams_below=beams_below,
        marks=marks,
        marks_beside=marks_beside,
        fingers_below=range(at, at + below),
        end=at + below,
    )


def _needs_lane(stem: Stem, edge: int) -> bool:
    """Beams and digits do; so does a stem whose head leaves it no row inside the pitch rows."""
    outermost = stem.highest if stem.up else stem.lowest
    no_room = stem.value.has_stem and abs(outermost - edge) < 2
    return bool(stem.value.flags or stem.value.tuplet or no_room)


def _count_finger_rows(heads: Sequence[Head], hand: Hand, form: Form) -> int:
    """Rows for the fingering of one hand on one staff."""
    at_onset: dict[object, int] = {}
    for head in heads:
        if head.fingering and head.hand is hand:
            key = (head.onset_quarters, head.grace)
            at_onset[key] = at_onset.get(key, 0) + 1
    most = max(at_onset.values(), default=0)
    return most if form.stacked_fingers else min(most, 1)


def lay_system_rows(
    heads: Sequence[Head], stems: Sequence[Stem], form: Form, staves: Iterable[int]
) -> tuple[tuple[StaffRows, ...], int]:
    """The lanes of these staves, and the number of rows with the beat ruler."""
    out: list[StaffRows] = []
    at = 0
    for staff in sorted(staves):
        here = [head for head in heads if head.staff == staff]
        on_it = [stem for stem in stems if stem.staff == staff]
        out.append(lay_staff_rows(staff, here, on_it, form, at))
        at = out[-1].end + form.gap
    return tuple(out), at - form.gap + 1
