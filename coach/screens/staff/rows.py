"""Rows: the lanes of each staff, from the top down, and how they fold when rows are short.

Roomy forms give each kind of print a lane of its own, as on paper: fingering outside the touch,
the touch outside the beams, dynamics and pedal under the staff. Tight forms write several kinds
into one lane, one after another. Lanes that would stay empty are left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum, IntEnum

from coach.score.model import Hand
from coach.score.notation import FOLDS, Head, Stem
from coach.screens.staff.texts import SlotTexts, TextKind

TOP_LINE = 8
"""Position of a staff's top line; the bottom line is 0."""


class Scale(IntEnum):
    """How large the music is."""

    COMPACT = 0
    """Two steps a row: a head is the upper or the lower half of its row."""
    FULL = 1
    """One step a row."""
    LARGE = 2
    """Two rows a step: a head fills a space."""

    @property
    def head_width(self) -> int:
        """Columns of a head: as near to print's five to four as cells allow, twice as high as
        wide as they are; in the compact form two, so that a hollow head can be open."""
        return 4 if self is Scale.LARGE else 2


_BUT_MARKS = (
    TextKind.FINGERS_RIGHT,
    TextKind.FINGERS_LEFT,
    TextKind.TOUCH_UP,
    TextKind.TOUCH_DOWN,
    TextKind.DYNAMICS,
    TextKind.PEDAL,
)


class Lanes(Enum):
    """Which kinds of text share a row."""

    APART = (
        (TextKind.WORDS,),
        (TextKind.FINGERS_RIGHT,),
        (TextKind.TOUCH_UP,),
        (TextKind.MARK,),
        (TextKind.TOUCH_DOWN,),
        (TextKind.FINGERS_LEFT,),
        (TextKind.DYNAMICS,),
        (TextKind.PEDAL,),
    )
    JOINED = (
        (TextKind.FINGERS_RIGHT, TextKind.TOUCH_UP),
        (TextKind.MARK,),
        (TextKind.FINGERS_LEFT, TextKind.TOUCH_DOWN, TextKind.DYNAMICS, TextKind.PEDAL),
    )
    ONE = ((*_BUT_MARKS, TextKind.MARK),)
    TWO = ((TextKind.MARK,), _BUT_MARKS)

    @property
    def groups(self) -> tuple[tuple[TextKind, ...], ...]:
        """From the top down; those before the one with the marks stand above the staff."""
        groups: tuple[tuple[TextKind, ...], ...] = self.value
        return groups


@dataclass(frozen=True, slots=True)
class Form:
    """How much room is taken: one of several forms, the roomiest first."""

    scale: Scale
    lanes: Lanes
    stacked_fingers: bool = False
    """One row for each finger of a chord; otherwise side by side."""
    gap: int = 0
    """Empty rows between the staves."""
    fold: tuple[int, int] | None = None
    """Notes beyond these positions are written octaves nearer, under an octave line."""
    beams_inside: bool = False
    """Beams have no lane of their own: they lie on the outermost row of the notes."""
    narrow: bool = False
    """Filled heads are one column wide, and only beats are counted."""

    @property
    def words(self) -> str:
        """For measuring: ``compact, one lane, folded``."""
        parts = [f"{self.scale.name} {self.lanes.name}".lower()]
        parts += [f"within {self.fold}"] if self.fold else []
        parts += ["beams inside"] * self.beams_inside + ["narrow"] * self.narrow
        return " ".join(parts)


_TWO_LEDGERS, _ONE_LEDGER, _NO_LEDGER = FOLDS[1:]
FORMS = (
    Form(Scale.LARGE, Lanes.APART, stacked_fingers=True, gap=1),
    Form(Scale.FULL, Lanes.APART, stacked_fingers=True, gap=1),
    Form(Scale.FULL, Lanes.JOINED),
    Form(Scale.COMPACT, Lanes.APART, stacked_fingers=True, gap=1),
    Form(Scale.COMPACT, Lanes.APART),
    Form(Scale.COMPACT, Lanes.JOINED),
    Form(Scale.COMPACT, Lanes.ONE),
    Form(Scale.COMPACT, Lanes.ONE, beams_inside=True),
    Form(Scale.COMPACT, Lanes.ONE, fold=_TWO_LEDGERS),
    Form(Scale.COMPACT, Lanes.ONE, fold=_TWO_LEDGERS, beams_inside=True),
)
"""Forms in which a window is read well; with two ledger lines print gets along, too."""
TIGHT_FORMS = (
    *FORMS,
    Form(Scale.COMPACT, Lanes.ONE, fold=_ONE_LEDGER, beams_inside=True),
    Form(Scale.COMPACT, Lanes.ONE, fold=_NO_LEDGER, beams_inside=True),
    Form(Scale.COMPACT, Lanes.TWO, fold=_ONE_LEDGER, beams_inside=True, narrow=True),
    Form(Scale.COMPACT, Lanes.TWO, fold=_NO_LEDGER, beams_inside=True, narrow=True),
)
"""All forms: the last only for bars that two pages of the others don't hold."""


@dataclass(frozen=True, slots=True)
class StaffRows:
    """Where the lanes of one staff lie, by row of the sheet."""

    staff: int
    scale: Scale
    first: int
    """The topmost row of any lane."""
    octave: int | None
    texts: Mapping[TextKind, range]
    """The rows of each kind of text that has any; fingers alone may have several."""
    groups: tuple[tuple[TextKind, ...], ...]
    beams_above: int | None
    pitch_first: int
    highest: int
    """The highest position that has a row."""
    lowest: int
    beams_below: int | None
    pitch_end: int
    end: int
    """The row after the last lane."""

    def row(self, position: int) -> int:
        """The row of a position: 0 is the bottom line. In the large form the middle of three."""
        if self.scale is Scale.COMPACT:
            return self.pitch_first + self.highest // 2 - position // 2
        if self.scale is Scale.LARGE:
            return self.pitch_first + 1 + 2 * (self.highest - position)
        return self.pitch_first + self.highest - position

    @property
    def marks(self) -> int:
        """The row of the marks on single notes."""
        return self.texts[TextKind.MARK].start

    @property
    def line_rows(self) -> tuple[int, ...]:
        """Rows of the five lines, from the top."""
        return tuple(self.row(position) for position in range(TOP_LINE, -1, -2))


def count_pitch_rows(scale: Scale, highest: int, lowest: int) -> int:
    """Rows from the highest position to the lowest."""
    if scale is Scale.COMPACT:
        return highest // 2 - lowest // 2 + 1
    if scale is Scale.LARGE:
        return 2 * (highest - lowest) + 3
    return highest - lowest + 1


def lay_staff_rows(
    staff: int,
    heads: Sequence[Head],
    stems: Sequence[Stem],
    texts: Sequence[SlotTexts],
    form: Form,
    first: int,
) -> StaffRows:
    """The lanes of one staff, its topmost at row ``first``."""
    highest = max([TOP_LINE, *(head.position for head in heads)])
    lowest = min([0, *(head.position for head in heads)])
    needs = _count_text_rows(heads, texts, form)
    rows: dict[TextKind, range] = {}
    at = first
    octave = None
    if any(head.octave_shift for head in heads):
        octave, at = at, at + 1
    groups = form.lanes.groups
    needs = {kind: many for kind, many in needs.items() if any(kind in g for g in groups)}
    with_marks = next(place for place, group in enumerate(groups) if TextKind.MARK in group)
    for group in groups[:with_marks]:
        at = _lay_texts(group, needs, rows, at)
    beams_above = beams_below = None
    wants_above = any(stem.up and _needs_lane(stem, highest) for stem in stems)
    wants_below = any(not stem.up and _needs_lane(stem, lowest) for stem in stems)
    if form.beams_inside:
        beams_above = at
    elif wants_above or at == first:
        beams_above, at = at, at + 1
    pitch_first = at
    at += count_pitch_rows(form.scale, highest, lowest)
    pitch_end = at
    if form.beams_inside:
        beams_below = at - 1
    elif wants_below:
        beams_below, at = at, at + 1
    for group in groups[with_marks:]:
        at = _lay_texts(group, needs, rows, at)
    return StaffRows(
        staff=staff,
        scale=form.scale,
        first=first,
        octave=octave,
        texts=rows,
        groups=groups,
        beams_above=beams_above,
        pitch_first=pitch_first,
        highest=highest,
        lowest=lowest,
        beams_below=beams_below,
        pitch_end=pitch_end,
        end=at,
    )


def _lay_texts(
    group: tuple[TextKind, ...], needs: Mapping[TextKind, int], rows: dict[TextKind, range], at: int
) -> int:
    """Give the kinds of one group their row or rows; returns the row after them."""
    most = max(needs.get(kind, 0) for kind in group)
    for kind in group:
        if needs.get(kind):
            rows[kind] = range(at, at + most)
    return at + most


def _count_text_rows(
    heads: Sequence[Head], texts: Sequence[SlotTexts], form: Form
) -> dict[TextKind, int]:
    """Rows that each kind of text needs on one staff: one where there is any."""
    needs = dict.fromkeys((kind for one in texts for kind in one), 1)
    needs[TextKind.MARK] = 1
    if form.stacked_fingers:
        for hand, kind in (
            (Hand.RIGHT, TextKind.FINGERS_RIGHT),
            (Hand.LEFT, TextKind.FINGERS_LEFT),
        ):
            at_onset: dict[object, int] = {}
            for head in heads:
                if head.fingering and head.hand is hand:
                    key = (head.onset_quarters, head.grace)
                    at_onset[key] = at_onset.get(key, 0) + 1
            if at_onset:
                needs[kind] = max(at_onset.values())
    return needs


def _needs_lane(stem: Stem, edge: int) -> bool:
    """Beams and digits do; so does a stem whose head leaves it no row inside the pitch rows."""
    outermost = stem.highest if stem.up else stem.lowest
    no_room = stem.value.has_stem and abs(outermost - edge) < 2
    return bool(stem.value.flags or stem.value.tuplet or no_room)


def lay_system_rows(
    heads: Sequence[Head],
    stems: Sequence[Stem],
    texts: Mapping[int, Sequence[SlotTexts]],
    form: Form,
    staves: Iterable[int],
) -> tuple[tuple[StaffRows, ...], int]:
    """The lanes of these staves, and the number of rows with the beat ruler."""
    out: list[StaffRows] = []
    at = 0
    for staff in sorted(staves):
        here = [head for head in heads if head.staff == staff]
        on_it = [stem for stem in stems if stem.staff == staff]
        out.append(lay_staff_rows(staff, here, on_it, texts.get(staff, ()), form, at))
        at = out[-1].end + form.gap
    return tuple(out), at - form.gap + 1
