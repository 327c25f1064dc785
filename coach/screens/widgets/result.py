"""What came of it: the clean run, large, and the verdict in words."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.events import Resize
from textual.widgets import Static

from coach.screens.big import big, big_width
from coach.screens.words import plain

_FIGURES = 30
"""Columns left of the headline: ``2 of 3 clean`` with tall figures, and some air."""


class CleanRun(Static):
    """``2 of 3 clean``, the figures large enough to be read from the bench.

    While a click runs, its beat stands in their place, in the same columns.
    """

    DEFAULT_CSS = """
    CleanRun { width: auto; height: auto; margin-right: 2; text-style: bold; }
    """

    def __init__(self, *, ascii_only: bool = False, id: str | None = None) -> None:
        super().__init__(id=id, markup=False)
        self._ascii_only = ascii_only
        self._run = (0, 0)
        self._tall = False

    @property
    def words(self) -> str:
        """The same in words."""
        run, required = self._run
        return f"{run} of {required} clean"

    def stand(self, *, tall: bool) -> None:
        """Write the figures tall, or not."""
        if tall is not self._tall:
            self._tall = tall
            self.show(*self._run)

    def show(self, run: int, required: int) -> None:
        """So many clean running, of so many."""
        self._run = run, required
        self.update("\n".join(self._rows()))

    def add_one(self) -> None:
        """One more, up to as many as were asked for."""
        run, required = self._run
        self.show(min(run + 1, required), required)

    def show_beat(self, beat: int) -> None:
        """The beat that sounds, in place of the clean run."""
        width = max(map(len, self._rows()))
        rows = ("", str(beat), "") if self._ascii_only else big(str(beat), tall=self._tall)
        self.update("\n".join(row.center(width) for row in rows))

    def hide_beat(self) -> None:
        """The clean run again."""
        self.show(*self._run)

    def _rows(self) -> list[str]:
        if self._ascii_only:
            return ["", f"  {self.words}  ", ""]
        left, right = (big(str(figure), tall=self._tall) for figure in self._run)
        middle = len(left) // 2
        parts = zip(left, right, strict=True)
        return [
            f"{one}{' of ' if row == middle else '    '}{other}{' clean' if row == middle else ''}"
            for row, (one, other) in enumerate(parts)
        ]


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

    def show(self, text: str, room: int) -> None:
        """Write it as large as fits into so many columns; not at all where nothing does."""
        tall = big_width(text, tall=True) <= room
        fits = bool(text) and big_width(text) <= room
        self.update("\n".join(big(text, tall=tall)) if fits else "")
        self.set_class(not fits, "-empty")


class Result(Horizontal):
    """The foot of the drill screen: clean run, verdict, reason."""

    DEFAULT_CSS = """
    Result {
        height: 3;
        padding: 0 1;
        & > Vertical { height: 100%; }
        & #reason { height: auto; }
        & #reason.-strong { text-style: bold; }
        & Headline, &.-roomy Headline.-empty { display: none; }
        &.-roomy { height: 8; & Headline { display: block; } }
    }
    """

    ROWS, ROOMY_ROWS = 3, 8
    """Its height, without and with the headline."""

    def __init__(self, *, ascii_only: bool = False, id: str | None = None) -> None:
        super().__init__(id=id)
        self._ascii_only = ascii_only
        self._headline = ""

    def compose(self) -> ComposeResult:
        """Figures at the left, words at the right."""
        yield CleanRun(ascii_only=self._ascii_only, id="clean-run")
        with Vertical():
            yield Headline("", id="headline", markup=False)
            yield VerdictLine("", id="verdict", markup=False)
            yield Static("", id="reason", markup=False)

    @property
    def is_roomy(self) -> bool:
        """Whether there is room for the headline."""
        return self.has_class("-roomy")

    def be_roomy(self, roomy: bool) -> None:
        """Take more rows, and write all that is large larger."""
        self.set_class(roomy, "-roomy")
        self.query_one(CleanRun).stand(tall=roomy)

    def show_run(self, run: int, required: int) -> None:
        """The clean run so far."""
        self.query_one(CleanRun).show(run, required)

    def add_clean(self) -> None:
        """One more clean repetition of what was asked for."""
        self.query_one(CleanRun).add_one()

    def hide_beat(self) -> None:
        """No click runs any longer."""
        self.query_one(CleanRun).hide_beat()

    def show_beat(self, beat: int) -> None:
        """The beat that sounds now."""
        self.query_one(CleanRun).show_beat(beat)

    def show_verdict(self, sentence: str, headline: str = "", *, fault: bool = False) -> None:
        """The last verdict, or whatever else is to be said in its place."""
        line = self.query_one(VerdictLine)
        line.update(self._plain(sentence))
        line.set_class(fault, "-fault")
        line.display = bool(sentence)  # an empty row would be taken from the reason
        self.show_headline(headline)

    def show_headline(self, text: str) -> None:
        """A word or three in large letters."""
        self._headline = "" if self._ascii_only else text
        self.query_one(Headline).show(self._headline, self.size.width - _FIGURES)

    def on_resize(self, event: Resize) -> None:
        """Write it as large as fits now."""
        self.show_headline(self._headline)

    def show_reason(self, text: str, *, strong: bool = False) -> None:
        """Why this is asked for; ``strong`` for what is proposed in its place."""
        line = self.query_one("#reason", Static)
        line.update(self._plain(text))
        line.set_class(strong, "-strong")

    def _plain(self, text: str) -> str:
        return plain(text) if self._ascii_only else text
