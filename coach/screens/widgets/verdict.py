"""The verdict, large and in words, and the reason for what is asked for next."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.events import Resize
from textual.widgets import Static

from coach.screens.big import ROWS, TALL_ROWS, big, big_width
from coach.screens.fitting import fitted


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
