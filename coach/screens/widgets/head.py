"""Lines of one row: the piece and the piano, the assignment, the keys."""

from __future__ import annotations

import re

from textual.events import Resize
from textual.widgets import Static

from coach.score.words import printable

_BETWEEN = re.compile(r" [·|] ")
"""What stands between the parts of a line, also in plain letters."""


class TwoSidedLine(Static):
    """One row with a text at each side; the left one gives way."""

    DEFAULT_CSS = """
    TwoSidedLine { height: 1; padding: 0 1; }
    """

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id, markup=False)
        self._left = self._right = ""

    def show(self, left: str, right: str) -> None:
        """Show both sides."""
        self._left, self._right = printable(left), printable(right)
        self._fill()

    def on_resize(self, event: Resize) -> None:
        """Keep the right side at the right."""
        self._fill()

    def _fill(self) -> None:
        room = max(self.content_size.width - len(self._right), 0)
        text = shorten_line(self._left, room - 1).ljust(room) + self._right
        self.update(text, layout=False)  # always one row: nothing else has to move


def shorten_line(text: str, room: int) -> str:
    """As much of a line as fits: its last parts are left out whole, so that no word is cut."""
    ends = [found.start() for found in _BETWEEN.finditer(text)]
    while len(text) > room and ends:
        text = text[: ends.pop()]
    return text[: max(room, 0)]


class StateLine(TwoSidedLine):
    """The piece at the left; at the right who plays: the piano's name, or that there is none."""

    DEFAULT_CSS = """
    StateLine { background: $panel; color: $text; }
    """


class AssignmentLine(TwoSidedLine):
    """What to play (hands, window, tempo, stage); at the right where the drill stands."""

    DEFAULT_CSS = """
    AssignmentLine { text-style: bold; }
    """


class HelpLine(Static):
    """The keys of the computer keyboard, in the last row."""

    DEFAULT_CSS = """
    HelpLine {
        height: 1; padding: 0 1; background: $panel; color: $text-muted;
        &.-unkept { color: $text; text-style: bold reverse; }
    }
    """
