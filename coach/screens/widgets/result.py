"""What came of it: the clean run, large, and the verdict in words."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.events import Resize

from coach.screens.big_letters import big_width
from coach.screens.terminal import as_shown
from coach.screens.widgets.clean_run import CleanRun
from coach.screens.widgets.verdict import Headline, Words

_FIGURES = 30
"""Columns left of the headline: ``2 of 3 clean`` with tall figures, and some air."""
_WORDS = 36
"""Columns that the words need beside a headline: three rows of them hold most sentences."""


class Result(Horizontal):
    """The foot of the drill screen: clean run, verdict, reason.

    The verdict in a word or three is always written large. Where there is no room for it beside the
    clean run it takes its place, until the next repetition begins.
    """

    DEFAULT_CSS = """
    Result {
        height: 3;
        padding: 0 1;
        & Headline, &.-roomy Headline.-empty { display: none; }
        &.-roomy Headline { display: block; }
    }
    """

    ROWS, ROOMY_ROWS = 3, 8
    """Its least height, and that with the headline."""
    HEIGHTS = (ROOMY_ROWS, 5, 4)
    """What it takes where there is room, the most first: the words need 4 or 5 now and then."""

    def __init__(self, *, ascii_only: bool = False, id: str | None = None) -> None:
        super().__init__(id=id)
        self._ascii_only = ascii_only
        self._headline = ""

    def compose(self) -> ComposeResult:
        """Figures at the left, words at the right."""
        yield CleanRun(ascii_only=self._ascii_only, id="clean-run")
        yield Words(ascii_only=self._ascii_only)

    @property
    def is_roomy(self) -> bool:
        """Whether there is room for the headline."""
        return self.has_class("-roomy")

    def take(self, rows: int) -> None:
        """Take so many rows; with enough of them, write all that is large larger."""
        roomy = rows >= self.ROOMY_ROWS
        self.styles.height = rows
        self.set_class(roomy, "-roomy")
        self.query_one(CleanRun).stand(tall=roomy)
        self.query_one(Words).has_headline = roomy
        self.query_one(Words).fit()
        self._say()

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
        self.show_headline(headline)
        self.query_one(Words).show_verdict(as_shown(self, sentence), fault=fault)

    def show_headline(self, text: str) -> None:
        """A word or three in large letters."""
        self._headline = text
        self.query_one(Headline).show(self._headline, self.size.width - _FIGURES)
        self.query_one(Words).fit()
        self._say()

    def show_run_alone(self) -> None:
        """The clean run where a verdict has taken its place."""
        self.query_one(CleanRun).say("")

    def _say(self) -> None:
        text = "" if self.is_roomy else self._headline
        fits = big_width(text) <= self.size.width - _WORDS
        self.query_one(CleanRun).say(text if fits else "")

    @property
    def headline(self) -> str:
        """What is written large now."""
        return self._headline

    def on_resize(self, event: Resize) -> None:
        """Write it as large as fits now."""
        self.show_headline(self._headline)

    def show_reason(self, text: str, *, strong: bool = False) -> None:
        """Why this is asked for; ``strong`` for what is proposed in its place."""
        self.query_one(Words).show_reason(as_shown(self, text), strong=strong)
