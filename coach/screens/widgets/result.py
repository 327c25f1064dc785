"""What came of it: the clean run, large, and the verdict in words."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.widgets import Static

from coach.screens.big import big, big_width
from coach.screens.words import plain

_WIDTH = 16
"""Columns of the clean run; the same with a beat in its place, so that nothing moves."""


class CleanRun(Static):
    """``2 of 3 clean``, the figures large enough to be read from the bench."""

    DEFAULT_CSS = """
    CleanRun { width: auto; height: 3; margin-right: 2; text-style: bold; }
    """

    def __init__(self, *, ascii_only: bool = False, id: str | None = None) -> None:
        super().__init__(id=id, markup=False)
        self._ascii_only = ascii_only
        self.words = ""
        """The same in words."""

    def show(self, run: int, required: int) -> None:
        """So many clean running, of so many."""
        self.words = f"{run} of {required} clean"
        if self._ascii_only:
            self.update(f"\n  {self.words}  ")
            return
        left, right = big(str(run)), big(str(required))
        middle = ("    ", " of ", "    ")
        end = ("", " clean", "")
        rows = zip(left, middle, right, end, strict=True)
        self.update("\n".join("".join(row) for row in rows))

    def show_beat(self, beat: int) -> None:
        """The beat that sounds, in place of the clean run."""
        rows = (str(beat),) if self._ascii_only else big(str(beat))
        self.update("\n".join(row.center(_WIDTH) for row in rows))


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
    Headline { height: 3; text-style: bold; }
    """

    def show(self, text: str, room: int) -> None:
        """Write it large if it fits into so many columns, else not at all."""
        fits = bool(text) and big_width(text) <= room
        self.update("\n".join(big(text)) if fits else "")
        self.set_class(not fits, "-empty")


class Result(Horizontal):
    """The foot of the drill screen: clean run, verdict, reason."""

    DEFAULT_CSS = """
    Result {
        height: 3;
        padding: 0 1;
        & > Vertical { height: 100%; }
        & #reason { height: auto; }
        & Headline, &.-roomy Headline.-empty { display: none; }
        &.-roomy { height: 7; & Headline { display: block; } }
    }
    """

    ROWS, ROOMY_ROWS = 3, 7
    """Its height, without and with the headline."""

    def __init__(self, *, ascii_only: bool = False, id: str | None = None) -> None:
        super().__init__(id=id)
        self._ascii_only = ascii_only

    def compose(self) -> ComposeResult:
        """Figures at the left, words at the right."""
        yield CleanRun(ascii_only=self._ascii_only, id="clean-run")
        with Vertical():
            yield Headline("", id="headline", markup=False)
            yield VerdictLine("", id="verdict", markup=False)
            yield Static("", id="reason", markup=False)

    def show_run(self, run: int, required: int) -> None:
        """The clean run so far."""
        self.query_one(CleanRun).show(run, required)

    def show_beat(self, beat: int) -> None:
        """The beat that sounds now."""
        self.query_one(CleanRun).show_beat(beat)

    def show_verdict(self, sentence: str, headline: str = "", *, fault: bool = False) -> None:
        """The last verdict, or whatever else is to be said in its place."""
        line = self.query_one(VerdictLine)
        line.update(self._plain(sentence))
        line.set_class(fault, "-fault")
        large = self.query_one(Headline)
        large.show("" if self._ascii_only else headline, self.size.width - 30)

    def show_reason(self, text: str) -> None:
        """Why this is asked for."""
        self.query_one("#reason", Static).update(self._plain(text))

    def _plain(self, text: str) -> str:
        return plain(text) if self._ascii_only else text
