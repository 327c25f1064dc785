"""A window as an engraved picture with rows of cells around it, where marks and counts stand.

From the top: a lane for the marks of the right hand, the picture, a lane for those of the left,
and the counts. A mark stands in the column of its note, so marking costs what it costs on the
staff in cells: the picture stays still.

Long windows have several pages, cut at barlines, so that no staff gets too small to be read.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from math import ceil
from typing import TYPE_CHECKING

from coach.engraving import Box, Picture, note_id, write_mei
from coach.score.model import Bar, Hand, Score
from coach.score.notation import Counts, Written, write
from coach.score.window import Excerpt, Window, excerpt
from coach.screens.staff.page import Canvas, NoteCells, Page, Role, Sheet

if TYPE_CHECKING:
    from coach.screens.terminal import Graphics

LANES = 3
"""Rows of cells around the picture: a lane for each hand's marks, and the counts."""
SMALLEST_STAFF_ROWS = 3.2
"""A staff lower than this many rows of cells is too small from the bench; then there are more
pages. Own choice, because a space of a staff is then four fifths of a row, some 3 mm."""
LARGEST_STAFF_ROWS = 7.0
"""No staff is higher. Own choice, because a window of one beat is to be large, and no poster."""
SIZE_STEP = 1.25
"""How many times larger one step makes the notes. Own choice, because a fifth is seen at once."""
SIZES = (-2, 3)
"""Steps down and up at most. Own choice, because what is smaller is not read from the bench, and
what is larger fills no page with a bar."""
FULL_HEIGHT = 0.97
"""A picture that takes so much of the height is no larger on more pages: they would only be turned
more often. Own choice: a picture that fills the height is rounded to whole pixels."""
MOST_BARS = 6
"""Bars on a page at most, before it is known how small they get."""


@dataclass(frozen=True, slots=True)
class PagePlan:
    """One page to be engraved."""

    written: Written
    first_note: int
    """The index, in the whole window, of the page's first note."""
    mei: str

    @property
    def start_quarters(self) -> Fraction:
        """The page's first onset."""
        return self.written.excerpt.window.start_quarters


@dataclass(frozen=True, slots=True)
class PlacedPicture:
    """A page's picture and where it stands, in cells from the top left of the page."""

    picture: Picture
    row: int
    column: int
    rows: int
    columns: int


@dataclass(frozen=True, slots=True)
class EngravedSheet:
    """A window as pictures, and the cells around them."""

    sheet: Sheet
    pictures: tuple[PlacedPicture, ...]


def picture_box(graphics: Graphics, columns: int, rows: int, size: int = 0) -> Box:
    """The room for a picture in so many columns and rows of cells; ``size``: so many steps larger
    or smaller than the largest that is read well."""
    width = min(columns * graphics.cell_width_px, graphics.most_width_px)
    height = min((rows - LANES) * graphics.cell_height_px, graphics.most_height_px)
    return Box(width, height, LARGEST_STAFF_ROWS * graphics.cell_height_px * SIZE_STEP**size)


def plan_pages(
    score: Score,
    part: Excerpt,
    counts: Counts,
    pages: int,
    fingers: Mapping[str, str] | None = None,
) -> tuple[PagePlan, ...]:
    """The window cut at barlines into so many pages, or as many as it has bars.

    ``fingers``: by a note's id the finger that is suggested where none is printed.
    """
    cuts = _cuts(score, part.window, pages)
    plans: list[PagePlan] = []
    for start, end in pairwise(cuts):
        is_last = end == cuts[-1]
        lands = is_last and part.window.landing
        window = replace(part.window, start_quarters=start, end_quarters=end, landing=lands)
        try:
            alone = excerpt(score, window)
        except ValueError:  # bars of rests: they go with what is before
            continue
        first = sum(note.onset_quarters < start for note in part.notes)
        is_first = start == cuts[0]
        written = write(score, alone, counts, fingers=fingers, recalls_dynamics=is_first)
        plans.append(PagePlan(written, first, write_mei(written)))
    return tuple(plans)


def pages_at_first(score: Score, part: Excerpt, size: int = 0) -> int:
    """How many pages a window is tried on."""
    return ceil(len(_bars_of(score, part.window)) / (MOST_BARS / SIZE_STEP**size))


def pages_instead(
    pictures: Sequence[Picture],
    score: Score,
    part: Excerpt,
    graphics: Graphics,
    box: Box,
    size: int = 0,
) -> int | None:
    """How many pages it takes where the staves of these are too small; None where they are not,
    where it is the height that keeps them small, or where no barline is left to cut at."""
    full_px = FULL_HEIGHT * box.height_px
    wide = [picture.staff_px for picture in pictures if picture.height_px < full_px]
    wanted = SMALLEST_STAFF_ROWS * graphics.cell_height_px * SIZE_STEP**size
    bars = len(_bars_of(score, part.window))
    if not wide or min(wide) >= wanted or len(pictures) >= bars:
        return None
    return min(max(ceil(len(pictures) * wanted / min(wide)), len(pictures) + 1), bars)


def _bars_of(score: Score, window: Window) -> Sequence[Bar]:
    first, last = score.bars_of(window.start_quarters, window.end_quarters)
    return score.bars[first.index : last.index + 1]


def _cuts(score: Score, window: Window, pages: int) -> list[Fraction]:
    bars = _bars_of(score, window)
    each = len(bars) / pages
    starts = [bars[round(at * each)].onset_quarters for at in range(1, min(pages, len(bars)))]
    inside = [start for start in starts if window.start_quarters < start < window.end_quarters]
    return [window.start_quarters, *inside, window.end_quarters]


def lay_out_pictures(
    plans: Sequence[PagePlan],
    pictures: Sequence[Picture],
    graphics: Graphics,
    columns: int,
    rows: int,
) -> EngravedSheet:
    """The pages with their pictures, in so many columns and rows of cells."""
    placed = [_place(picture, graphics, columns) for picture in pictures]
    height = min(max(one.rows for one in placed) + LANES, rows)
    pages = [
        _draw_page(plan, one, graphics, columns, height)
        for plan, one in zip(plans, placed, strict=True)
    ]
    starts = tuple(plan.start_quarters for plan in plans)
    return EngravedSheet(Sheet(pages, starts, columns, height), tuple(placed))


def _place(picture: Picture, graphics: Graphics, columns: int) -> PlacedPicture:
    wide = min(ceil(picture.width_px / graphics.cell_width_px), columns)
    high = ceil(picture.height_px / graphics.cell_height_px)
    return PlacedPicture(picture, 1, max(columns - wide, 0) // 2, high, wide)


def _draw_page(
    plan: PagePlan, placed: PlacedPicture, graphics: Graphics, columns: int, height: int
) -> Page:
    canvas = Canvas(height, columns)
    counts_row = min(placed.row + placed.rows + 1, height - 1)
    below = counts_row - 1
    at = _columns_of(plan, placed, graphics)
    notes: dict[int, NoteCells] = {}
    for index, note in enumerate(plan.written.excerpt.notes):
        column = at.get(index)
        if column is not None:
            lane = 0 if note.hand is Hand.RIGHT else below
            notes[plan.first_note + index] = NoteCells((), (lane, column))
    for column, text, is_beat in _counts_at(plan.written, at):
        if canvas.is_free(counts_row, column, column + len(text)):
            canvas.put(counts_row, column, text, Role.BEAT if is_beat else Role.COUNT)
    return Page(canvas.rows(), notes, plan.start_quarters)


def _columns_of(plan: PagePlan, placed: PlacedPicture, graphics: Graphics) -> dict[int, int]:
    """The column of each note's head, by its index on the page."""
    half_head_px = placed.picture.staff_px / 8 * 0.6  # a head is a little wider than a space
    found: dict[int, int] = {}
    for index in range(len(plan.written.excerpt.notes)):
        place = placed.picture.notes.get(note_id(index))
        if place is not None:
            column = int((place[0] + half_head_px) / graphics.cell_width_px)
            found[index] = placed.column + min(column, placed.columns - 1)
    return found


def _counts_at(written: Written, at: Mapping[int, int]) -> Iterator[tuple[int, str, bool]]:
    """What is counted and in which column; a beat without a note stands between its neighbours."""
    columns: dict[Fraction, int] = {}
    for index, note in enumerate(written.excerpt.notes):
        if index in at and note.grace is None:
            onset = note.onset_quarters
            columns[onset] = min(columns.get(onset, at[index]), at[index])
    known = sorted(columns)
    for onset, text in sorted(written.counts.items()):
        if not text:
            continue
        column = columns.get(onset)
        if column is None:
            column = _between(onset, known, columns)
        if column is not None:
            yield column, text, onset in written.beats


def _between(
    onset: Fraction, known: Sequence[Fraction], columns: Mapping[Fraction, int]
) -> int | None:
    before = max((one for one in known if one < onset), default=None)
    after = min((one for one in known if one > onset), default=None)
    if before is None or after is None:
        return None
    share = float((onset - before) / (after - before))
    return round(columns[before] + share * (columns[after] - columns[before]))
