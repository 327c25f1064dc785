"""A page as it is handed to a widget: rows of cells, and each note's own cells."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import overload

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
    compact: bool
    fits: bool
    """False where even the compact form has more rows than were given."""

    def page_at(self, onset_quarters: Fraction) -> int:
        """The page to show while this onset is played: the last that begins at or before it."""
        return max(bisect_right(self.starts_quarters, onset_quarters) - 1, 0)
