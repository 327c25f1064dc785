"""Fitting words into few rows: the most important first, whole sentences, no word cut.

The verdict, large and in words, and the reason for what is asked for next.
"""

from __future__ import annotations

import re
from textwrap import wrap

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.events import Resize
from textual.widgets import Static

from coach.screens.big_letters import ROWS, TALL_ROWS, big, big_width

_PARTS = re.compile(r"(?<=[.?!;]) ")
_MORE = "..."
"""As wide as its plain form, so that both fit."""


def fitted(verdict: str, reason: str, width: int, rows: int) -> tuple[str, str]:
    """Verdict and reason for so many rows of so many columns: the verdict before the reason."""
    first = shortened_to(verdict, width, rows)
    return first, shortened_to(reason, width, rows - rows_of(first, width))


def rows_of(text: str, width: int) -> int:
    """Rows that a text takes."""
    return len(wrap(text, max(width, 1)))


def shortened_to(text: str, width: int, rows: int) -> str:
    """As many of a text's sentences as fit whole; of a first one that is too long, whole words."""
    if rows <= 0:
        return ""
    if rows_of(text, width) <= rows:
        return text
    parts = _PARTS.split(text)
    for count in range(len(parts) - 1, 0, -1):
        some = " ".join(parts[:count]).rstrip(";")
        if rows_of(some, width) <= rows:
            return some
    words = parts[0].split()
    while words and rows_of(" ".join(words) + _MORE, width) > rows:
        words.pop()
    return " ".join(words).rstrip(",;:") + _MORE if words else ""


class VerdictLine(Static):
    """The last verdict in words; in large letters where there is room."""

    DEFAULT_CSS = """
    VerdictLine {
        height: auto;
        text-style: bold;
        &.-fault { text-style: bold reverse; }
    }
    """


class Headline(Static):
    """The verdict in one to three words, in large letters."""

    DEFAULT_CSS = """
    Headline { height: auto; text-style: bold; }
    """

    rows = 0
    """Rows that it takes where it is displayed."""

    def __init__(self, *, ascii_only: bool, id: str) -> None:
        super().__init__("", id=id, markup=False)
        self._ascii_only = ascii_only

    def show(self, text: str, room: int) -> None:
        """Write it as large as fits into so many columns; not at all where nothing does."""
        tall = big_width(text, tall=True) <= room
        fits = bool(text) and big_width(text) <= room
        self.rows = (TALL_ROWS if tall else ROWS) if fits else 0
        self.update("\n".join(big(text, tall=tall, plain=self._ascii_only)) if fits else "")
        self.set_class(not fits, "-empty")


class Words(Vertical):
    """The verdict and the reason, in as many rows as there are: the verdict first, no word cut."""

    DEFAULT_CSS = """
    Words {
        height: 100%;
        & #reason { height: auto; }
        & #reason.-strong { text-style: bold; }
    }
    """

    def __init__(self, *, ascii_only: bool) -> None:
        super().__init__()
        self._ascii_only = ascii_only
        self._verdict = self._reason = ""
        self.has_headline = False

    def compose(self) -> ComposeResult:
        """From the top, the most important first."""
        yield Headline(ascii_only=self._ascii_only, id="headline")
        yield VerdictLine("", id="verdict", markup=False)
        yield Static("", id="reason", markup=False)

    def show_verdict(self, sentence: str, *, fault: bool) -> None:
        """The last verdict, or what is said in its place."""
        self._verdict = sentence
        self.query_one(VerdictLine).set_class(fault, "-fault")
        self.fit()

    def show_reason(self, text: str, *, strong: bool) -> None:
        """Why this is asked for, or what is said in its place."""
        self._reason = text
        self.query_one("#reason").set_class(strong, "-strong")
        self.fit()

    def on_resize(self, event: Resize) -> None:
        """More or less of it fits."""
        self.fit()

    def fit(self) -> None:
        """Write as much as there is room for; before there is any, all of it."""
        width, rows = self.size
        verdict, reason = self._verdict, self._reason
        if width and rows:
            rows -= self.query_one(Headline).rows if self.has_headline else 0
            verdict, reason = fitted(verdict, reason, width, rows)
        line = self.query_one(VerdictLine)
        line.update(verdict)
        line.display = bool(verdict)  # an empty row would be taken from the reason
        self.query_one("#reason", Static).update(reason)
