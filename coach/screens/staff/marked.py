"""A page with marks on its notes: every cell's character and look, alone or row by row."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping

from coach.screens.marks import FACES, Mark
from coach.screens.staff.canvas import Role
from coach.screens.staff.page import Cell, Page

RIGHT, FAULT, FAULT_MARK = "staff--right", "staff--fault", "staff--fault-mark"
"""Looks of what was played right or not: of heads, and of a fault's letter in the mark lane."""

LOOKS = frozenset({*(f"staff--{role.value}" for role in Role), RIGHT, FAULT, FAULT_MARK})
"""Every look that a cell can have; a widget gives each a style."""

BLANK = f"staff--{Role.BLANK.value}"

CellFace = tuple[str, str]
"""A cell's character and its look: cells with the same two are seen alike."""


class MarkedPage:
    """One page as it is seen; ``marks`` (by note) may change under it."""

    def __init__(self, page: Page, marks: Mapping[int, Mark]) -> None:
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

    def row(self, row: int) -> tuple[str, list[str]]:
        """A row's characters and the look of each."""
        text, looks = self._plain_row(row)
        chars, looks = list(text), list(looks)
        for column in self._notes.get(row, ()):
            chars[column], looks[column] = self.face((row, column))
        return "".join(chars), looks

    def face(self, cell: Cell) -> CellFace:
        """How one cell is seen."""
        row, column = cell
        text, looks = self._plain_row(row)
        here = self._notes.get(row, {}).get(column, ())
        marked = [(self._marks[note], in_lane) for note, in_lane in here if note in self._marks]
        if not marked:
            return text[column], looks[column]
        mark, in_lane = max(marked)
        char = FACES[mark].char if in_lane else text[column]
        if mark is Mark.RIGHT:
            return char, RIGHT
        return char, FAULT_MARK if in_lane else FAULT

    def _plain_row(self, row: int) -> tuple[str, list[str]]:
        """A row without marks."""
        if row not in self._plain:
            looks = [f"staff--{role.value}" for role in self._page.rows[row].roles]
            # A blank goes with what is before it: fewer changes of style, a row is out sooner.
            for column in range(1, len(looks)):
                if looks[column] == BLANK:
                    looks[column] = looks[column - 1]
            self._plain[row] = self._page.rows[row].text, looks
        return self._plain[row]
