"""A terminal that keeps what is written to it, cell by cell, for tests of painting."""

from __future__ import annotations

import re

from textual._compositor import CompositorUpdate
from textual.app import App

_PART = re.compile(
    r"\x1b\[(?P<row>\d+);(?P<column>\d+)H"
    r"|\x1b\[(?P<style>[\d;]*)m"
    r"|(?P<other>\x1b\[[?<>=]?[\d;$]*[A-Za-z]|[\r\n])"
    r"|(?P<text>[^\x1b\r\n]+)"
)


class Glass:
    """What is seen: a character and its style (ECMA-48 control sequences CUP and SGR) per cell."""

    def __init__(self) -> None:
        self.cells: dict[tuple[int, int], tuple[str, str]] = {}
        self.writes: list[str] = []
        self._row = self._column = 0
        self._style = ""

    def write(self, text: str) -> None:
        """Take what a program writes."""
        self.writes.append(text)
        for part in _PART.finditer(text):
            if part["row"]:
                self._row, self._column = int(part["row"]) - 1, int(part["column"]) - 1
            elif part["style"] is not None:
                self._style = "" if part["style"] == "0" else part["style"]
            for char in part["text"] or "":
                self.cells[self._row, self._column] = char, self._style
                self._column += 1

    def differences(self, other: Glass) -> dict[tuple[int, int], tuple[object, object]]:
        """Cells of ``other`` that are not so here: what is here, and what is there."""
        return {
            cell: (self.cells.get(cell), seen)
            for cell, seen in other.cells.items()
            if self.cells.get(cell) != seen
        }


def textuals_own(app: App[None]) -> Glass:
    """The whole screen as Textual would paint it now. By private names of Textual's."""
    glass = Glass()
    update = app.screen._compositor.render_update(full=True, screen_stack=app._background_screens)
    assert isinstance(update, CompositorUpdate)
    glass.write(update.render_segments(app.console))
    return glass
