"""Texts made safe to show: no control characters, and plain letters where they are wanted."""

from __future__ import annotations

from rich.cells import cell_len
from rich.segment import Segment
from textual.color import Color
from textual.dom import DOMNode
from textual.filter import LineFilter

from coach.score.words import printable_lines

_PLAIN = str.maketrans(
    {"·": "|", "→": "->", "←": "<-", "↑": "^", "↓": "v", "…": "...", "“": '"', "”": '"', "’": "'"}
)


def plain(text: str) -> str:
    """The same in plain letters."""
    return text.translate(_PLAIN)


def as_shown(node: DOMNode, text: str) -> str:
    """A text as it is to be shown in this app: in plain letters where that was asked for.

    Whatever holds words from outside (a file's name, a piano's, a title, an error) goes through
    this or ``printable``, before its width is measured.
    """
    text = printable_lines(text)
    return plain(text) if node.app.has_class("-plain") else text


class PrintableOnly(LineFilter):
    """The last filter before the terminal: it replaces characters that a terminal would obey.

    Texts are cleaned before they are laid out. This catches what was forgotten, and so it must not
    change any width.
    """

    def apply(self, segments: list[Segment], background: Color) -> list[Segment]:
        """The same segments, or cleaned ones."""
        if all(text.isprintable() for text, _, _ in segments):
            return segments
        return [Segment("".join(map(_replace_char, text)), style) for text, style, _ in segments]


def _replace_char(char: str) -> str:
    return char if char.isprintable() else "?" * cell_len(char)
