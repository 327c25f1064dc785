"""A page as plain data: rows of cells, each note's own cells, and how marks change them.

A page is drawn on a :class:`Canvas`, a sheet of character cells. Each has a character and a role,
which a widget styles.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import overload

from coach.screens.marks import MARK_SYMBOLS, MarkKind


class Role(StrEnum):
    """What a cell shows; the widgets give each a style."""

    BLANK = "blank"
    LINE = "line"
    """Staff and ledger lines."""
    BARLINE = "barline"
    STEM = "stem"
    BEAM = "beam"
    HEAD = "head"
    SIGN = "sign"
    """Accidentals, clefs, key and metre."""
    REST = "rest"
    TIE = "tie"
    HELD = "held"
    """Of a note that was struck before the window: its head and its stem."""
    FINGER = "finger"
    PRINT = "print"
    """Touch, dynamics, pedal, words."""
    BEAT = "beat"
    COUNT = "count"
    """Between the beats."""
    HAND = "hand"
    NUMBER = "number"
    """Bar numbers and 8va."""


@dataclass(frozen=True, slots=True)
class CellRow:
    """One line of cells, done."""

    text: str
    roles: tuple[Role, ...]


class Canvas:
    """Cells to draw on. What lies outside is not drawn."""

    def __init__(self, height: int, width: int) -> None:
        self.height, self.width = height, width
        self._text = [[" "] * width for _ in range(height)]
        self._roles = [[Role.BLANK] * width for _ in range(height)]

    def put(self, row: int, column: int, text: str, role: Role) -> None:
        """Write text from a cell to the right, over what is there."""
        if not 0 <= row < self.height:
            return
        for at, char in enumerate(text, column):
            if 0 <= at < self.width:
                self._text[row][at] = char
                self._roles[row][at] = role

    def role(self, row: int, column: int) -> Role:
        """What a cell shows; BLANK outside."""
        inside = 0 <= row < self.height and 0 <= column < self.width
        return self._roles[row][column] if inside else Role.BLANK

    def is_free(self, row: int, low: int, high: int) -> bool:
        """Whether the cells from ``low`` up to ``high`` are blank."""
        return all(self.role(row, column) is Role.BLANK for column in range(low, high))

    def holds(self, row: int, column: int, text: str) -> bool:
        """Whether a text stands here, whole."""
        if not 0 <= row < self.height:
            return False
        return "".join(self._text[row][column : column + len(text)]) == text

    def rows(self, aside: int = 0) -> tuple[CellRow, ...]:
        """The finished rows, moved so many columns to the right."""
        blank = (Role.BLANK,) * aside
        return tuple(
            CellRow(
                " " * aside + "".join(text[: self.width - aside]),
                (*blank, *roles[: self.width - aside]),
            )
            for text, roles in zip(self._text, self._roles, strict=True)
        )


Cell = tuple[int, int]
"""Row and column."""


@dataclass(frozen=True, slots=True)
class NoteCells:
    """Where one note is on a page."""

    heads: tuple[Cell, ...]
    """Its head, and the heads that ties join to it."""
    mark: Cell
    """Its cell in the mark lane; the notes of a chord share it."""


@dataclass(frozen=True, slots=True)
class Page:
    """What is on the screen at one time."""

    rows: tuple[CellRow, ...]
    notes: Mapping[int, NoteCells]
    """By index into ``excerpt.notes``."""
    start_quarters: Fraction
    """The page's first onset: when the playing gets here it is turned to."""
    printed: frozenset[tuple[str, Fraction]] = frozenset()
    """The print besides notes that is to be read on it: what, and at which onset."""


class Pages(Sequence[Page]):
    """The pages of a sheet, each drawn when it is first asked for: a whole piece has many."""

    def __init__(self, count: int, draw: Callable[[int], Page]) -> None:
        self._drawn: list[Page | None] = [None] * count
        self._draw = draw

    def __len__(self) -> int:
        return len(self._drawn)

    @overload
    def __getitem__(self, at: int) -> Page: ...

    @overload
    def __getitem__(self, at: slice) -> tuple[Page, ...]: ...

    def __getitem__(self, at: int | slice) -> Page | tuple[Page, ...]:
        if isinstance(at, slice):
            return tuple(self[one] for one in range(*at.indices(len(self))))
        page = self._drawn[at]
        if page is None:
            page = self._drawn[at] = self._draw(at % len(self))
        return page

    def __iter__(self) -> Iterator[Page]:
        return (self[at] for at in range(len(self)))


@dataclass(frozen=True, slots=True)
class Sheet:
    """A window laid out."""

    pages: Sequence[Page]
    starts_quarters: tuple[Fraction, ...]
    """Each page's first onset."""
    width: int
    height: int
    form: str = ""
    """How it is drawn, for measuring."""

    def page_at(self, onset_quarters: Fraction) -> int:
        """The page to show while this onset is played: the last that begins at or before it."""
        return max(bisect_right(self.starts_quarters, onset_quarters) - 1, 0)


RIGHT, FAULT, FAULT_MARK = "staff--right", "staff--fault", "staff--fault-mark"
"""Looks of what was played right or not: of heads, and of a fault's letter in the mark lane."""

LOOKS = frozenset({*(f"staff--{role.value}" for role in Role), RIGHT, FAULT, FAULT_MARK})
"""Every look that a cell can have; a widget gives each a style."""

BLANK = f"staff--{Role.BLANK.value}"

Appearance = tuple[str, str]
"""A cell's character and its look: cells with the same two are seen alike."""


class MarkedPage:
    """One page as it is seen; ``marks`` (by note) may change under it."""

    def __init__(self, page: Page, marks: Mapping[int, MarkKind]) -> None:
        self._page, self._marks = page, marks
        self._plain: dict[int, tuple[str, list[str]]] = {}
        self._notes: dict[int, dict[int, list[tuple[int, bool]]]] = defaultdict(dict)
        for note, cells in page.notes.items():
            for row, column in filter(self._has, cells.heads):
                self._notes[row].setdefault(column, []).append((note, False))
            if self._has(cells.mark):
                row, column = cells.mark
                self._notes[row].setdefault(column, []).append((note, True))

    def _has(self, cell: Cell) -> bool:
        """Whether a cell is on the page: on a very narrow one what is too far right is left out."""
        row, column = cell
        return row < len(self._page.rows) and column < len(self._page.rows[row].text)

    @property
    def rows(self) -> int:
        """How many rows it has."""
        return len(self._page.rows)

    def cells_of(self, notes: Iterable[int]) -> set[Cell]:
        """The cells that show what became of these notes; none for notes of another page."""
        here = (self._page.notes[note] for note in notes if note in self._page.notes)
        every = (cell for cells in here for cell in (*cells.heads, cells.mark))
        return set(filter(self._has, every))

    def is_blank(self, row: int) -> bool:
        """Whether nothing is ever seen in a row, as in those under a picture."""
        return not self._notes.get(row) and not self._page.rows[row].text.strip()

    def row(self, row: int) -> tuple[str, list[str]]:
        """A row's characters and the look of each."""
        text, looks = self._plain_row(row)
        chars, looks = list(text), list(looks)
        for column in self._notes.get(row, ()):
            chars[column], looks[column] = self.appearance((row, column))
        return "".join(chars), looks

    def appearance(self, cell: Cell) -> Appearance:
        """How one cell is seen."""
        row, column = cell
        text, looks = self._plain_row(row)
        here = self._notes.get(row, {}).get(column, ())
        marked = [(self._marks[note], in_lane) for note, in_lane in here if note in self._marks]
        if not marked:
            return text[column], looks[column]
        mark, in_lane = max(marked)
        char = MARK_SYMBOLS[mark].char if in_lane else text[column]
        if mark is MarkKind.RIGHT:
            return char, RIGHT
        return char, FAULT_MARK if in_lane else FAULT

    def _plain_row(self, row: int) -> tuple[str, list[str]]:
        """A row without marks."""
        if row not in self._plain:
            looks = [f"staff--{role.value}" for role in self._page.rows[row].roles]
            # A blank takes the style of what is before it: fewer styles, so a row is out sooner.
            for column in range(1, len(looks)):
                if looks[column] == BLANK:
                    looks[column] = looks[column - 1]
            self._plain[row] = self._page.rows[row].text, looks
        return self._plain[row]
