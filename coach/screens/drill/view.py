"""The drill shown: the window, what was heard, what came of it, what is asked for next."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import groupby

from textual.timer import Timer

from coach.coaching.drill import (
    AssignmentGiven,
    CountIn,
    DrillEvent,
    DrillState,
    MovedOn,
    NoteMarked,
    Proposed,
    RepetitionBegan,
    RepetitionEnded,
    SetAside,
    StateChanged,
    StrayKey,
    ToJudge,
)
from coach.coaching.model import Decision
from coach.judging.instead import in_short
from coach.judging.judge import JudgingJob
from coach.judging.model import Judgement
from coach.screens.drill.click import DrillClick
from coach.screens.drill.sayings import READ_S
from coach.screens.interfaces import ClickLike, Desk, Settings
from coach.screens.judged import GivenOut, Giving
from coach.screens.marks import mark_of, marks_of
from coach.screens.messages import WentOn
from coach.screens.widgets import CLEAN, StripLine
from coach.screens.wording import LISTENING_BACK, NO_PIANO, RESTING, STRIKE, verdict_headline

HOLD_S = 1.2
"""How long a marked repetition stays in sight, with all that was asked for in it, before what is
asked for next takes its place, unless the pianist plays on: time to see where it broke. Our
choice."""


class DrillView(DrillClick):
    """Shows what the drill answers; it decides nothing, and what comes in is not its business."""

    def __init__(
        self,
        desk: Desk,
        settings: Settings,
        clock: Callable[[], float],
        *,
        piano: str | None = None,
        no_piano: str = "",
        click: ClickLike | None = None,
        letters: bool = False,
        give: Giving | None = None,
    ) -> None:
        """``clock`` gives seconds on the clock that the piano's events are stamped with.

        ``no_piano``: what to say where there is none, for another reason than that it is off.
        ``give``: have a repetition judged elsewhere that the drill gives out to be judged.
        """
        super().__init__(desk, settings, clock, piano=piano, click=click, letters=letters)
        self._no_piano = no_piano
        self.given_out = GivenOut(give) if give else None
        self._next: AssignmentGiven | None = None
        self._is_set_aside = False
        """Whether something was set aside just now, and why is to be read."""
        self._hold: Timer | None = None
        """Runs while the marks of the last repetition are to stay in sight."""

    def show(self, outcomes: Iterable[DrillEvent]) -> None:
        """Show what the drill answered; marks that come together are painted together."""
        self._is_set_aside = False
        for is_mark, some in groupby(outcomes, lambda outcome: isinstance(outcome, NoteMarked)):
            if is_mark:
                marked = (one for one in some if isinstance(one, NoteMarked))
                self.staff.mark({one.note: mark_of(one.label) for one in marked})
            else:
                for outcome in some:
                    self._show_one(outcome)

    def _show_one(self, outcome: DrillEvent) -> None:
        match outcome:
            case StrayKey(pitch):
                self.show_stray(pitch)
            case StateChanged(state):
                self.show_assignment()
                self._changed(state)
            case RepetitionBegan():
                self._release()
                self.result.show_run_alone()
                self.staff.mark_all({})
                self.staff.turn_to(0)
            case ToJudge(job):
                self.give_out(job)
            case RepetitionEnded():
                self._show_ended(outcome)
            case AssignmentGiven():
                self._show_given(outcome)
            case CountIn():
                self._release()
                self.start_click(outcome)
            case SetAside(reason, job):
                if job is None or self.desk.drill.state is not DrillState.PLAYING:
                    self.staff.mark_all({})
                    self.staff.turn_to(0)
                self.result.show_verdict(reason, in_short(reason))
                self._is_set_aside = True
            case Proposed(text):
                self.propose(text)
            case MovedOn():
                self.post_message(WentOn())

    def give_out(self, job: JudgingJob) -> None:
        """Have a repetition judged elsewhere, where there is one; the next may begin meanwhile."""
        if self.given_out is None:
            self.show(self.desk.drill.judged(job, job.judge(), self._clock()))
            return
        self.given_out.add(job)
        self.take_back()
        self.result.show_verdict(LISTENING_BACK)

    def _show_ended(self, ended: RepetitionEnded) -> None:
        self._ended = ended
        self.let_go()
        self._hold = self.set_timer(HOLD_S, self._release)
        if not ended.decision.changed:
            self._reason = _reason(ended.decision)
        self.take_back()
        judgement = ended.judgement
        headline = ""
        if not self._has_gone_on(judgement):
            self.staff.mark_all(marks_of(judgement))
            headline = verdict_headline(self.desk.score, judgement)
        result = self.result
        result.show_verdict(judgement.sentence, headline, fault=not judgement.clean)
        self._show_run_of(ended)
        self.show_unkept(self.desk.keep(ended))
        self.set_timer(HOLD_S, self._turn_back)
        if not self._has_played:
            self._has_played = True
            self.choose_foot()

    def _show_run_of(self, ended: RepetitionEnded) -> None:
        """How the assignment that was played stands now, also where the next one is decided."""
        decision = ended.decision
        if not decision.changed:
            self.result.show_run(decision.clean_run, decision.assignment.clean_required)
            self.query_one(StripLine).show(self.desk.score, decision)
        elif ended.judgement.clean:
            self.result.add_clean()
        else:
            self.result.show_run(0, ended.assignment.clean_required)

    def _has_gone_on(self, judgement: Judgement) -> bool:
        """Whether the staff shows something else than what was judged: the next repetition, or
        another window."""
        if self.excerpt is None or self.excerpt.window != judgement.excerpt.window:
            return True
        return self.desk.drill.state is DrillState.PLAYING

    def _turn_back(self) -> None:
        """To the first page, where the next repetition begins, unless it has begun."""
        if self.desk.drill.state is not DrillState.PLAYING:
            self.staff.turn_to(0)

    def _show_given(self, given: AssignmentGiven) -> None:
        """What follows from a repetition waits until its marks have been seen."""
        self._next = given
        if self._hold is None or not self.staff.is_marked:
            self._release()

    def let_go(self) -> None:
        """Nothing needs to stay in sight any longer: the pianist goes on, or asks for something."""
        if self._hold:
            self._hold.stop()
        self._hold = None

    def _release(self) -> None:
        """Show the assignment that waits, if one does."""
        self.let_go()
        given, self._next = self._next, None
        if given is None:
            return
        self._asked = given.assignment
        if self.excerpt is None or given.excerpt.window != self.excerpt.window:
            self.excerpt = given.excerpt
            self.staff.show_window(self.desk.score, given.excerpt)
        self.query_one(StripLine).show(self.desk.score, given.decision)
        self.show_assignment()
        result = self.result
        self._reason = _reason(given.decision)
        result.show_run(given.decision.clean_run, given.assignment.clean_required)
        if result.headline == CLEAN:  # it was of the run before
            result.show_run_alone()
        if (
            given.assignment.click
            and self._ended is None
            and self.desk.drill.state is DrillState.READY
        ):
            result.show_verdict(STRIKE, "ANY KEY")
            self._waits = True
        self.choose_foot()

    def _changed(self, state: DrillState) -> None:
        if state not in (DrillState.COUNT_IN, DrillState.PLAYING) and self.clicks:
            self.stop_click()
        words = {
            DrillState.NO_PIANO: (self._no_piano or NO_PIANO, "NO PIANO"),
            DrillState.RESTING: (RESTING, "REST"),
            DrillState.FINISHED: (self.finished_words, "FINISHED"),
        }.get(state)
        if state is DrillState.FINISHED:
            self.set_timer(READ_S, self.show_way_on)
        if words:
            self.take_back()
            self.result.show_verdict(*words)
        elif state is DrillState.READY and self.is_reached:  # nobody played it again after all
            if self._is_set_aside:
                self.set_timer(READ_S, self._show_reached)
            else:
                self._show_reached()
        elif self._waits:
            self.result.show_verdict("")
        self._waits = words is not None

    def _show_reached(self) -> None:
        """What can be done at the goal, unless it is being played again."""
        if self.is_reached:
            self.result.show_verdict(self.finished_words)
            self.show_way_on()


def _reason(decision: Decision) -> str:
    return " ".join(filter(None, (decision.assignment.reason, decision.note)))
