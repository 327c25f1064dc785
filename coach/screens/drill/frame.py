"""The drill screen's frame: its widgets, who plays, the assignment in words, and what fits."""

from __future__ import annotations

from functools import partial
from typing import Any

from textual.app import ComposeResult
from textual.events import Resize
from textual.screen import Screen
from textual.timer import Timer, TimerCallback

from coach.coaching.model import Assignment
from coach.score.counting import syllables
from coach.score.model import Score
from coach.score.window import Excerpt
from coach.screens.dialogs import is_too_small
from coach.screens.interfaces import Desk, Settings, piano_words
from coach.screens.keymap import help_line
from coach.screens.staff import ASCII, UNICODE, Manuscript, Sheet
from coach.screens.terminal import as_shown
from coach.screens.widgets import AssignmentLine, HelpLine, Result, StaffView, StateLine, StripLine
from coach.screens.wording import assignment_words, state_words, too_tall

_LOW_ROWS = 28
"""In a terminal with fewer rows the state line gives its row to the staff."""
_FRAME_ROWS = 4
"""Rows of the drill screen besides the staff and the result."""


class DrillFrame(Screen[None]):
    """The widgets of the drill screen, each in its place."""

    DEFAULT_CSS = """
    DrillFrame { layout: vertical; }
    """

    is_demo = False
    """Whether a simulated player is at the keys."""

    def __init__(self, desk: Desk, settings: Settings, *, piano: str | None, letters: bool) -> None:
        """``letters``: whether the computer keyboard stands in for the piano."""
        super().__init__()
        self.desk = desk
        self.excerpt: Excerpt | None = None
        self._asked: Assignment | None = None
        self.piano = piano
        self.letters = letters
        self._settings = settings
        self._said = self._unkept = ""
        self._has_row_for_keys = True
        self._has_played = False
        """Whether a repetition was judged: then the verdict matters more than the keys."""
        self._proposed = self._too_tall = self._reason = ""
        self._manuscript: Manuscript | None = None

    def compose(self) -> ComposeResult:
        """From the top: who and what, the strip, the assignment, the staff, the result, keys."""
        ascii_only = self._settings.ascii_only
        yield StateLine(id="state")
        yield StripLine(ascii_only=ascii_only, id="strip")
        yield AssignmentLine(id="assignment")
        yield StaffView(self._lay_out, id="staff")
        yield Result(ascii_only=ascii_only, id="result")
        yield HelpLine("", id="help", markup=False)

    def set_timer(self, delay: float, callback: TimerCallback | None = None, **how: Any) -> Timer:
        """As every screen's; but what was to be shown on it comes to nothing once it is left."""
        return super().set_timer(
            delay, callback and partial(self._while_it_stands, callback), **how
        )

    def set_interval(
        self, interval: float, callback: TimerCallback | None = None, **how: Any
    ) -> Timer:
        """The same, again and again."""
        there = callback and partial(self._while_it_stands, callback)
        return super().set_interval(interval, there, **how)

    def _while_it_stands(self, callback: TimerCallback) -> Any:
        return callback() if self.is_there else None

    @property
    def is_there(self) -> bool:
        """Whether it is on the screen, with all its widgets: not once it is left, or all ends."""
        return self in self.app.screen_stack and bool(self.query(HelpLine))

    @property
    def staff(self) -> StaffView:
        """The music."""
        return self.query_one(StaffView)

    @property
    def result(self) -> Result:
        """The foot."""
        return self.query_one(Result)

    def show_who(self) -> None:
        """The piece, and who plays it; in a low terminal only who, beside the strip."""
        low = self.size.height < _LOW_ROWS
        self.query_one(StateLine).show(self.desk.title, self.who())
        self.query_one(StateLine).display = not low
        self.query_one(StripLine).show_right(self.who() if low else "")

    def who(self) -> str:
        """Who plays."""
        if self.letters:
            return "letters as piano"
        return piano_words(self.piano) if self.piano else "no piano"

    @property
    def asked(self) -> Assignment:
        """What is asked for on the screen: the staff, the top line and the reason agree in it.

        After a repetition the drill is ahead of it, until the marks have been seen.
        """
        return self._asked or self.desk.drill.assignment

    def show_assignment(self, state: str | None = None) -> None:
        """What to play; at the right where the drill stands, or what is said in its place."""
        words = assignment_words(self.desk.score, self.asked)
        self._said = state_words(self.desk.drill.state, self.asked) if state is None else state
        right = " · ".join(filter(None, (self.staff.page_words, self._said)))
        self.query_one(AssignmentLine).show(as_shown(self, words), as_shown(self, right))

    def on_page_turned(self) -> None:
        """Say which page it is."""
        self.show_assignment(self._said)

    def _lay_out(self, score: Score, excerpt: Excerpt, width: int, height: int) -> Sheet:
        glyphs = ASCII if self._settings.ascii_only else UNICODE
        return self._written(score, excerpt).lay_out(width, height, glyphs)

    def _written(self, score: Score, excerpt: Excerpt) -> Manuscript:
        """The window as it is written; kept, for it is laid out again for every size."""
        if self._manuscript is None or self._manuscript.excerpt is not excerpt:
            counts = partial(syllables, system=self._settings.counting)
            self._manuscript = Manuscript(score, excerpt, counts)
        return self._manuscript

    def show_keys(self) -> None:
        """The keys, as many as fit; in their place what goes wrong with the record."""
        text = help_line(
            self.size.width - (8 if self._settings.ascii_only else 2),
            demo=self.is_demo,
            letters=self.letters,
        )
        line = self.query_one(HelpLine)
        line.update(as_shown(self, self._unkept or text))
        line.set_class(bool(self._unkept), "-unkept")
        line.display = bool(self._unkept) or self._has_row_for_keys

    def on_resize(self, event: Resize) -> None:
        """Find out again what fits."""
        self.show_keys()
        self.show_who()
        self.choose_foot()

    def choose_foot(self) -> None:
        """Take rows for the words, and for a large verdict, where the staff is no smaller for it.

        A terminal that can show no music at all keeps what it had: something else is over it.
        """
        if self.excerpt is None or is_too_small(self.size):
            return
        room = self.size.height - _FRAME_ROWS + (self.size.height < _LOW_ROWS)
        needed = self._rows_needed(room - Result.ROWS)
        spare = (more for more in Result.HEIGHTS if self._is_spare(room - more, needed))
        rows = next(spare, Result.ROWS)
        missing = needed - (room - Result.ROWS)
        # Else it is the staff's, or that of the words beside a large verdict: ? still works.
        takes_keys_row = rows == Result.ROWS and self._has_played and not self._unkept
        self._has_row_for_keys = missing <= 0 and not takes_keys_row
        self.result.take(rows + (missing <= 0 and takes_keys_row))
        self.show_keys()
        self._too_tall = too_tall(missing) if missing > 1 else ""
        self.show_reason()

    def show_reason(self) -> None:
        """What is proposed; else what keeps the window from being seen; else why it is asked for.

        The verdict has its own place: it is what the pianist looks for.
        """
        first = self._proposed or self._too_tall
        self.result.show_reason(first or self._reason, strong=bool(first))

    def _is_spare(self, room: int, needed: int) -> bool:
        """Whether the staff is as large in this room as in all that could be had."""
        return room >= needed == self._rows_needed(room)

    def _rows_needed(self, room: int) -> int:
        """Rows that the staff takes when it is given so many."""
        assert self.excerpt is not None
        return self._written(self.desk.score, self.excerpt).rows_needed(self.size.width, room)
