"""A sheet of character cells: each has a character and a role, which a widget styles."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


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
