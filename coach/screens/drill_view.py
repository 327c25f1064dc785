"""The drill shown: the window, what was heard, what came of it, what is asked for next."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial

from textual.app import ComposeResult
from textual.events import Resize
from textual.screen import Screen
from textual.timer import Timer

from coach.coaching.outcomes import (
    AssignmentGiven,
    CountIn,
    NoteMarked,
    Outcome,
    Proposed,
    RepetitionBegan,
    RepetitionEnded,
    SetAside,
    State,
    StateChanged,
    StrayKey,
)
from coach.score.counting import syllables
from coach.score.model import Score
from coach.score.pitch import Spelling
from coach.score.window import Excerpt
from coach.screens.collaborators import ClickLike, Desk, Settings
from coach.screens.commands import help_line
from coach.screens.marks import mark_of, marks_of
from coach.screens.notices import NoticeScreen
from coach.screens.staff.glyphs import ASCII, UNICODE
from coach.screens.staff.page import Sheet
from coach.screens.staff.sheet import lay_out
from coach.screens.widgets.head import AssignmentLine, HelpLine, StateLine, StripLine
from coach.screens.widgets.result import Result
from coach.screens.widgets.staff_view import StaffView
from coach.screens.words import (
    FINISHED,
    NO_PIANO,
    RESTING,
    STATES,
    assignment_words,
    too_tall,
    verdict_headline,
)

HOLD_S = 1.2
"""How long a marked repetition stays in sight before another window takes its place, unless the
pianist plays on: time to see where it broke. Our choice."""
_LOW_ROWS = 28
"""In a terminal with fewer rows the state line gives its row to the staff."""
_FRAME_ROWS = 4
"""Rows of the drill screen besides the staff and the result."""


class DrillView(Screen[None]):
    """Shows what the drill answers; it decides nothing, and what comes in is not its business."""

    DEFAULT_CSS = """
    DrillView { layout: vertical; }
    """

    _is_demo = False

    def __init__(
        self,
        desk: Desk,
        settings: Settings,
        clock: Callable[[], float],
        *,
        piano: str | None = None,
        click: ClickLike | None = None,
        letters: bool = False,
    ) -> None:
        """``clock`` gives seconds on the clock that the piano's events are stamped with.

        ``letters``: whether the computer keyboard stands in for the piano.
        """
        super().__init__()
        self.desk = desk
        self._settings = settings
        self._clock = clock
        self._piano = piano
        self._click = click
        self._letters = letters
        self._ended: RepetitionEnded | None = None
        self._excerpt: Excerpt | None = None
        self._next: AssignmentGiven | None = None
        self._hold: Timer | None = None
        self._kept_badly = False
        self._waits = False
        self._said = ""

    def compose(self) -> ComposeResult:
        """From the top: who and what, the strip, the assignment, the staff, the result, keys."""
        ascii_only = self._settings.ascii_only
        yield StateLine(id="state")
        yield StripLine(ascii_only=ascii_only, id="strip")
        yield AssignmentLine(id="assignment")
        yield StaffView(self._lay_out, id="staff")
        yield Result(ascii_only=ascii_only, id="result")
        yield HelpLine("", id="help", markup=False)

    @property
    def _staff(self) -> StaffView:
        return self.query_one(StaffView)

    @property
    def _result(self) -> Result:
        return self.query_one(Result)

    # -- what is shown ----------------------------------------------------------------------

    def show(self, outcomes: Iterable[Outcome]) -> None:
        """Show what the drill answered."""
        for outcome in outcomes:
            self._show_one(outcome)

    def _show_one(self, outcome: Outcome) -> None:
        match outcome:
            case NoteMarked(note, label):
                self._staff.mark(note, mark_of(label))
            case StrayKey(pitch):
                name = Spelling.of(pitch, self._key_fifths()).words
                self._show_assignment(f"not in the window: {name}")
            case StateChanged(state):
                self._show_assignment(STATES[state])
                self._changed(state)
            case RepetitionBegan():
                self._release()
                self._staff.mark_all({})
                self._staff.turn_to(0)
            case RepetitionEnded():
                self._show_ended(outcome)
            case AssignmentGiven():
                self._show_given(outcome)
            case CountIn():
                if self._click and self._excerpt:
                    self._click.start(self.desk.score, self._excerpt, outcome)
            case SetAside(reason):
                self._staff.mark_all({})
                self._result.show_verdict(reason)
            case Proposed(text):
                self.notify(text, title="A proposal", timeout=20)

    def _show_ended(self, ended: RepetitionEnded) -> None:
        self._ended = ended
        judgement = ended.judgement
        self._staff.mark_all(marks_of(judgement))
        result = self._result
        headline = verdict_headline(self.desk.score, judgement)
        result.show_verdict(judgement.sentence, headline, fault=not judgement.clean)
        result.show_run(ended.decision.clean_run, ended.decision.assignment.clean_required)
        self.query_one(StripLine).show(self.desk.score, ended.decision)
        self._keep(ended)

    def _keep(self, ended: RepetitionEnded) -> None:
        sentence = self.desk.keep(ended)
        if sentence and not self._kept_badly:  # said once, not after every repetition
            self.app.push_screen(NoticeScreen(sentence))
        self._kept_badly = bool(sentence)

    def _show_given(self, given: AssignmentGiven) -> None:
        """Another window waits until the marks of the last one have been seen."""
        another = self._excerpt is not None and given.excerpt.window != self._excerpt.window
        if another and self._ended and self._hold is None and self._staff.is_marked:
            self._next = given
            self._hold = self.set_timer(HOLD_S, self._release)
            return
        self._next = given
        self._release()

    def _release(self) -> None:
        """Show the assignment that waits, if one does."""
        if self._hold:
            self._hold.stop()
        self._hold = None
        given, self._next = self._next, None
        if given is None:
            return
        self._excerpt = given.excerpt
        self._staff.show_window(self.desk.score, given.excerpt)
        self.query_one(StripLine).show(self.desk.score, given.decision)
        self._show_assignment()
        result = self._result
        reason = " ".join(filter(None, (given.assignment.reason, given.decision.note)))
        result.show_reason(reason)
        result.show_run(given.decision.clean_run, given.assignment.clean_required)
        self._choose_foot()

    def _show_assignment(self, state: str | None = None) -> None:
        words = assignment_words(self.desk.score, self.desk.drill.assignment)
        self._said = STATES[self.desk.drill.state] if state is None else state
        right = " · ".join(filter(None, (self._staff.page_words, self._said)))
        self.query_one(AssignmentLine).show(words, right)

    def on_page_turned(self) -> None:
        """Say which page it is."""
        self._show_assignment(self._said)

    def _changed(self, state: State) -> None:
        if state in (State.READY, State.NO_PIANO, State.RESTING) and self._click:
            self._click.stop()
        words = {
            State.NO_PIANO: (NO_PIANO, ""),
            State.RESTING: (RESTING, "REST"),
            State.FINISHED: (FINISHED, "FINISHED"),
        }.get(state)
        if words:
            self._result.show_verdict(*words)
        elif self._waits:
            self._result.show_verdict("")
        self._waits = words is not None

    def show_who(self) -> None:
        """The piece, and who plays it; in a low terminal only who, beside the strip."""
        low = self.size.height < _LOW_ROWS
        self.query_one(StateLine).show(self.desk.title, self.who())
        self.query_one(StateLine).display = not low
        self.query_one(StripLine).show_right(self.who() if low else "")

    def who(self) -> str:
        """Who plays."""
        return "letters as piano" if self._letters else self._piano or "no piano"

    def _key_fifths(self) -> int:
        start = self.desk.drill.assignment.window.start_quarters
        return self.desk.score.bar_at(start).key_fifths

    # -- room -------------------------------------------------------------------------------

    def _lay_out(self, score: Score, excerpt: Excerpt, width: int, height: int) -> Sheet:
        glyphs = ASCII if self._settings.ascii_only else UNICODE
        return lay_out(
            score,
            excerpt,
            width,
            height,
            glyphs=glyphs,
            counts=partial(syllables, system=self._settings.counting),
        )

    def show_keys(self) -> None:
        """The keys, as many as fit."""
        text = help_line(self.size.width - 2, demo=self._is_demo, letters=self._letters)
        self.query_one(HelpLine).update(text)

    def on_resize(self, event: Resize) -> None:
        """Find out again what fits."""
        self.show_keys()
        self.show_who()
        self._choose_foot()

    def _choose_foot(self) -> None:
        """Write the verdict large too, where the staff is no smaller for it."""
        if self._excerpt is None or not self.size.height:
            return
        room = self.size.height - _FRAME_ROWS + (self.size.height < _LOW_ROWS)
        plain, roomy = (self._rows_needed(room - rows) for rows in (Result.ROWS, Result.ROOMY_ROWS))
        self._result.set_class(roomy == plain <= room - Result.ROOMY_ROWS, "-roomy")
        missing = plain - (room - Result.ROWS)
        self.query_one(HelpLine).display = missing <= 0  # its row for the staff: ? still works
        if missing > 1:
            self._result.show_verdict(too_tall(missing))

    def _rows_needed(self, room: int) -> int:
        """Rows that the staff takes when it is given so many."""
        assert self._excerpt is not None
        return self._lay_out(self.desk.score, self._excerpt, self.size.width, room).height
