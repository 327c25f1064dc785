"""A page as it is handed to a widget: rows of cells, and each note's own cells."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from coach.screens.staff.canvas import Row

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

    rows: tuple[Row, ...]
    notes: Mapping[int, NoteCells]
    """By index into ``excerpt.notes``."""
    start_quarters: Fraction
    """The page's first onset: when the playing gets here it is turned to."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A window laid out."""

    pages: tuple[Page, ...]
    width: int
    height: int
    compact: bool
    fits: bool
    """False where even the compact form has more rows than were given."""

    def page_at(self, onset_quarters: Fraction) -> int:
        """The page to show while this onset is played: the last that begins at or before it."""
        at = [i for i, page in enumerate(self.pages) if page.start_quarters <= onset_quarters]
        return at[-1] if at else 0
