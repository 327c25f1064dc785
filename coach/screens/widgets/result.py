"""The foot of the drill screen: the clean run, large, the verdict and the reason in words.

Words are fitted into few rows: the most important first, whole sentences, no word cut.
"""

from __future__ import annotations

import re
from textwrap import wrap

from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.events import Resize
from textual.widgets import Static

from coach.screens.big_letters import ROWS, TALL_ROWS, big, big_width
from coach.screens.terminal import as_shown

_PARTS = re.compile(r"(?<=[.?!;]) ")
_MORE = "..."
"""For words that are left out. Three dots, so that it is as wide in plain letters."""
CLEAN = "CLEAN"
"""The one verdict that is written beside the figures, not in their place."""
_CLEAN_WORDS = "Clean"
"""The same as a sentence. It is not said twice: where it stands in large letters it is not written
small besides."""
_LAST_CLEAN = "Clean, the last one"
"""The same beside ``0 of 2 clean``, which is of what comes next."""
_BETWEEN = "   "
"""Between the figures and the verdict beside them."""


class CleanRun(Static):
    """``2 of 3 clean``, the figures large enough to be read from the bench.

    In their place, in large letters too: the verdict, where it has no room of its own; and while a
    click runs, its beat, in the same columns.
    """

    DEFAULT_CSS = """
    CleanRun { width: auto; height: auto; margin-right: 2; text-style: bold; }
    """

    def __init__(self, *, ascii_only: bool = False, id: str | None = None) -> None:
        super().__init__(id=id, markup=False)
        self._ascii_only = ascii_only
        self._run = (0, 0)
        self._said = ""
        self._tall = False

    @property
    def words(self) -> str:
        """The same in words."""
        run, required = self._run
        return f"{run} of {required} clean"

    def set_tall(self, *, tall: bool) -> None:
        """Write the figures tall, or not."""
        if tall is not self._tall:
            self._tall = tall
            self._write()

    def show(self, run: int, required: int) -> None:
        """So many clean in a row, of so many asked for; beyond the goal it stays there."""
        self._run = min(run, required), required
        self._write()

    def add_one(self) -> None:
        """One more, up to as many as were asked for."""
        run, required = self._run
        self.show(run + 1, required)

    def say(self, text: str) -> None:
        """Something in its place; ``CLEAN`` beside the figures; the figures alone for ""."""
        if text != self._said:
            self._said = text
            self._write()

    def show_beat(self, said: str) -> None:
        """What is counted with the beat that sounds, in place of the clean run."""
        width = max(map(len, self._rows()))
        self.update("\n".join(row.center(width) for row in self._big(said)))

    def hide_beat(self) -> None:
        """The clean run again."""
        self._write()

    def _write(self) -> None:
        self.update("\n".join(self._rows()))

    def _rows(self) -> list[str]:
        if self._said == CLEAN:
            clean = self._big(CLEAN)
            both = zip(self._figures(), clean, strict=True)
            return [f"{run}{_BETWEEN}{word}" for run, word in both]
        return list(self._big(self._said)) if self._said else self._figures(" clean")

    def _figures(self, word: str = "") -> list[str]:
        left, right = (self._big(str(figure)) for figure in self._run)
        middle = len(left) // 2
        parts = zip(left, right, strict=True)
        return [
            f"{one}{' of ' if row == middle else '    '}{other}{word if row == middle else ''}"
            for row, (one, other) in enumerate(parts)
        ]

    def _big(self, text: str) -> tuple[str, ...]:
        return big(text, tall=self._tall, plain=self._ascii_only)


def fit_words(verdict: str, reason: str, width: int, rows: int) -> tuple[str, str]:
    """Verdict and reason for so many rows of so many columns: the verdict before the reason."""
    first = shorten_to(verdict, width, rows)
    return first, shorten_to(reason, width, rows - count_rows(first, width))


def count_rows(text: str, width: int) -> int:
    """Rows that a text takes."""
    return len(wrap(text, max(width, 1)))


def shorten_to(text: str, width: int, rows: int) -> str:
    """As many of a text's sentences as fit whole; of a first one that is too long, whole words."""
    if rows <= 0:
        return ""
    if count_rows(text, width) <= rows:
        return text
    parts = _PARTS.split(text)
    for count in range(len(parts) - 1, 0, -1):
        some = " ".join(parts[:count]).rstrip(";")
        if count_rows(some, width) <= rows:
            return some
    words = parts[0].split()
    while words and count_rows(" ".join(words) + _MORE, width) > rows:
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


class VerdictWords(Vertical):
    """The verdict and the reason, in as many rows as there are: the verdict first, no word cut."""

    DEFAULT_CSS = """
    VerdictWords {
        height: 100%;
        & #reason { height: auto; }
        & #reason.-strong { text-style: bold; }
    }
    """

    def __init__(self, *, ascii_only: bool) -> None:
        super().__init__()
        self._ascii_only = ascii_only
        self._verdict = self._reason = ""
        self._has_headline = self._is_clean = self._is_new = False

    def compose(self) -> ComposeResult:
        """From the top, the most important first."""
        yield Headline(ascii_only=self._ascii_only, id="headline")
        yield VerdictLine("", id="verdict", markup=False)
        yield Static("", id="reason", markup=False)

    def set_headline_room(self, has_room: bool) -> None:
        """Whether the headline stands above the words, and takes rows from them."""
        self._has_headline = has_room
        self.fit()

    def set_clean(self, is_clean: bool) -> None:
        """Whether ``CLEAN`` stands in large letters beside the words."""
        if is_clean is not self._is_clean:
            self._is_clean = is_clean
            self.fit()

    def set_new(self, is_new: bool) -> None:
        """Whether nothing has been clean yet of what the figures count."""
        if is_new is not self._is_new:
            self._is_new = is_new
            self.fit()

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
        if verdict.rstrip(".") == _CLEAN_WORDS and (self._is_clean or self._is_new):
            verdict = "" if self._is_clean else _LAST_CLEAN
        if width and rows:
            rows -= self.query_one(Headline).rows if self._has_headline else 0
            verdict, reason = fit_words(verdict, reason, width, rows)
        line = self.query_one(VerdictLine)
        line.update(verdict)
        line.display = bool(verdict)  # an empty row would be taken from the reason
        self.query_one("#reason", Static).update(reason)


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
    """Its least height, that of small figures; and the least with the headline over the words: five
    rows of tall letters and three of words."""
    HEIGHTS = (ROOMY_ROWS, 5, 4)
    """Heights that it takes where there is room, the largest first. The words need 4 or 5 rows now
    and then."""

    def __init__(self, *, ascii_only: bool = False, id: str | None = None) -> None:
        super().__init__(id=id)
        self._ascii_only = ascii_only
        self._headline = ""

    def compose(self) -> ComposeResult:
        """Figures at the left, words at the right."""
        yield CleanRun(ascii_only=self._ascii_only, id="clean-run")
        yield VerdictWords(ascii_only=self._ascii_only)

    @property
    def is_roomy(self) -> bool:
        """Whether there is room for the headline."""
        return self.has_class("-roomy")

    def set_rows(self, rows: int) -> None:
        """Take so many rows; with enough of them, write all that is large larger."""
        roomy = rows >= self.ROOMY_ROWS
        self.styles.height = rows
        self.set_class(roomy, "-roomy")
        self.query_one(CleanRun).set_tall(tall=roomy)
        self.query_one(VerdictWords).set_headline_room(roomy)
        self._say()

    def show_run(self, run: int, required: int) -> None:
        """The clean run so far."""
        self.query_one(CleanRun).show(run, required)
        self.query_one(VerdictWords).set_new(not run)

    def add_clean(self) -> None:
        """One more clean repetition of what was asked for."""
        self.query_one(CleanRun).add_one()
        self.query_one(VerdictWords).set_new(False)

    def hide_beat(self) -> None:
        """No click runs any longer."""
        self.query_one(CleanRun).hide_beat()

    def show_beat(self, said: str) -> None:
        """What is counted with the beat that sounds now."""
        self.query_one(CleanRun).show_beat(said)

    def show_verdict(self, sentence: str, headline: str = "", *, fault: bool = False) -> None:
        """The last verdict, or whatever else is to be said in its place."""
        self.show_headline(headline)
        self.query_one(VerdictWords).show_verdict(as_shown(self, sentence), fault=fault)

    def show_headline(self, text: str) -> None:
        """A word or three in large letters."""
        self._headline = text
        self.query_one(Headline).show(self._headline, self.size.width - _FIGURES)
        self.query_one(VerdictWords).fit()
        self._say()

    def begin(self) -> None:
        """A repetition or its count-in begins: the clean run alone, and no ``CLEAN`` that is of the
        repetition before."""
        if self._headline == CLEAN:
            self.show_headline("")
        self.query_one(CleanRun).say("")
        self.query_one(VerdictWords).set_clean(False)

    def _say(self) -> None:
        text = "" if self.is_roomy else self._headline
        fits = big_width(text) <= self.size.width - _WORDS
        self.query_one(CleanRun).say(text if fits else "")
        is_large = bool(self.query_one(Headline).rows) if self.is_roomy else fits
        self.query_one(VerdictWords).set_clean(self._headline == CLEAN and is_large)

    @property
    def headline(self) -> str:
        """What is written large now."""
        return self._headline

    def on_resize(self, event: Resize) -> None:
        """Write it as large as fits now."""
        self.show_headline(self._headline)

    def show_reason(self, text: str, *, strong: bool = False) -> None:
        """Why this is asked for; ``strong`` for what is proposed in its place."""
        self.query_one(VerdictWords).show_reason(as_shown(self, text), strong=strong)
