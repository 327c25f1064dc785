"""The drill shown: the window, what was heard, what came of it, what is asked for next.

The presenter takes the drill's outcomes and tells the parts of the screen what to show. It decides
nothing, and what the pianist plays or presses is not its business. What may be asked for next is
engraved in quiet moments (:class:`Foresight`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial
from itertools import groupby

from textual.widget import Widget

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
from coach.coaching.model import Decision, Request
from coach.judging.judge import JudgingJob
from coach.judging.model import Judgement
from coach.judging.wording import name_in_short
from coach.playing.command_keys import CommandKey, PianoCommand
from coach.score.counting import syllables
from coach.score.model import Score
from coach.score.window import Excerpt
from coach.screens.drill.assignment import AssignmentInSight, TopLines
from coach.screens.drill.click import SILENT_CLICK, ClickRunner
from coach.screens.drill.company import Company
from coach.screens.drill.foot import Announcements, Foot, VerdictPlace, WayOn
from coach.screens.drill.listening import Listening
from coach.screens.drill.player import Player
from coach.screens.interfaces import DrillSession, DrillSetup, Host
from coach.screens.keymap import how_to_ask
from coach.screens.marks import MARK_BY_LABEL, marks_of
from coach.screens.messages import WentOn
from coach.screens.staff import ASCII, UNICODE
from coach.screens.widgets import StaffView
from coach.screens.wording import (
    LISTENING_BACK,
    NO_PIANO,
    RESTING,
    STRIKE,
    assignment_headline,
    own_notes_words,
    proposal_headline,
    verdict_headline,
)

LIKELY = (Request.SMALLER, Request.OTHER_HAND, Request.NEXT, Request.LARGER)
"""Wishes for another window, the likeliest first. Own choice: what fails is made smaller."""
QUIET_S, STEP_S = 0.5, 0.2
"""For so long nothing was struck or asked for; and from one step, which takes the screen some 20
ms, to the next. Own choice: no first key should wait for it, and a new window is read for a
second."""
_BUSY = frozenset({DrillState.COUNT_IN, DrillState.PLAYING})


class Foresight:
    """Finds out in quiet moments, step by step, which windows may come next, and has them
    engraved."""

    def __init__(self, session: DrillSession, staff: StaffView, foot: Foot) -> None:
        self._session, self._staff, self._foot = session, staff, foot
        self._wishes = list(LIKELY)
        """Those whose windows are not known yet."""
        self._windows: list[Excerpt] = []
        self._next_step_s: float | None = None
        """None where something else was asked for just now, and is still to be shown."""

    def begin_anew(self) -> None:
        """Something else stands: the wishes lead elsewhere."""
        self._wishes, self._windows, self._next_step_s = list(LIKELY), [], None

    def take_step(self, now_s: float, last_key_s: float | None) -> None:
        """Find one window, or have one engraved, where all is quiet and any is left."""
        drill = self._session.drill
        if not self._staff.is_engraved or drill.state in _BUSY:
            return
        if self._next_step_s is None:
            self._next_step_s = now_s + QUIET_S
        if now_s < max(self._next_step_s, (last_key_s or 0.0) + QUIET_S):
            return
        self._next_step_s = now_s + STEP_S
        for excerpt in self._windows:
            if not self._staff.is_expected(excerpt.window):
                self._foot.expect_window(self._session.score, excerpt)
                return
        if self._wishes:
            self._windows.append(drill.foresee(self._wishes.pop(0)))


HOLD_S = 1.2
"""How long a marked repetition stays in sight, with all that was asked for in it, before what is
asked for next takes its place, unless the pianist plays on: time to see where it broke. Our
choice."""


class DrillPresenter:
    """Shows what the drill answers, in the parts of the screen."""

    def __init__(
        self,
        setup: DrillSetup,
        player: Player,
        host: Host,
        judge: Callable[[JudgingJob], None],
        command_keys: Sequence[CommandKey] = (),
    ) -> None:
        """``judge``: have a repetition judged, here or elsewhere; its outcomes are shown then.

        ``command_keys`` are the piano's keys that ask for something.
        """
        session, ascii_only = setup.session, setup.settings.ascii_only
        self._session, self._player, self._host, self._judge = session, player, host, judge
        counts = partial(syllables, system=setup.settings.counting)
        glyphs = ASCII if ascii_only else UNICODE
        self.staff = StaffView(counts, glyphs, engraver=setup.engraver, id="staff")
        self.asked = AssignmentInSight(session.drill, host)
        self.way_on = WayOn(session, player, self.asked)
        self.company = Company(session, setup.clock, setup.click)
        self.top = TopLines(
            session, player, self.staff, self.asked, self.company, ascii_only=ascii_only
        )
        self.foot = Foot(host, player, self.staff, command_keys, ascii_only=ascii_only)
        self.foresight = Foresight(session, self.staff, self.foot)
        self.verdict = VerdictPlace(self.foot.result)
        self.announcements = Announcements(session, host, self.top, self.foot, self.verdict)
        self.click = ClickRunner(
            session, host, setup.clock, self.foot.result, setup.click, setup.settings.click, counts
        )
        self.listening = Listening(
            session,
            host,
            setup.clock,
            self.staff,
            setup.click,
            self._say_how_to_hear,
            self.top.show_sounding,
            lambda: self.click.style,
        )
        self._command_keys = command_keys
        self._is_set_aside = False
        """Whether something was set aside just now, and why is to be read."""

    def widgets(self) -> Iterable[Widget]:
        """From the top: who and what, the strip, the assignment, the staff, the result, keys."""
        top, foot = self.top, self.foot
        lines = (top.state_line, top.strip, top.assignment_line)
        return (*lines, self.staff, foot.result, foot.help_line)

    def show_player(self) -> None:
        """The piece, and who plays it."""
        self.top.show_player(self._host.size.height)

    def fit(self) -> None:
        """Find out again what fits."""
        self.foot.show_keys()
        self.show_player()
        self.foot.choose_rows()

    def answer_request(self, outcomes: Iterable[DrillEvent]) -> None:
        """What follows from what the pianist asked for; nothing waits for it to be read."""
        self.foot.take_back_proposal()
        self.asked.let_go()
        self.show(outcomes)

    def show(self, outcomes: Iterable[DrillEvent]) -> None:
        """Show what the drill answered; marks that come together are painted together."""
        self._is_set_aside = False
        for is_mark, some in groupby(outcomes, lambda outcome: isinstance(outcome, NoteMarked)):
            if is_mark:
                marked = (one for one in some if isinstance(one, NoteMarked))
                self.staff.mark({one.note: MARK_BY_LABEL[one.label] for one in marked})
            else:
                for outcome in some:
                    self._show_one(outcome)

    def _show_one(self, outcome: DrillEvent) -> None:
        match outcome:
            case StrayKey(pitch):
                self.announcements.name_stray_key(pitch)
            case StateChanged(state):
                self.top.show_assignment()
                self._show_state(state)
            case RepetitionBegan():
                self._show_next()
                self.foot.result.begin()
                self._clear_staff()
            case ToJudge(job):
                self._judge(job)
            case RepetitionEnded():
                self.company.note_tempo(outcome)
                self._show_ended(outcome)
            case AssignmentGiven():
                self.asked.put_next(outcome)
                self.foresight.begin_anew()
                # What follows from a repetition waits until its marks have been seen.
                if not self.asked.is_held or not self.staff.is_marked:
                    self._show_next()
                elif self._is_new(outcome.excerpt):
                    self.foot.expect_window(self._session.score, outcome.excerpt)
            case CountIn():
                self.listening.stop()
                self._show_next()
                sounds = self.click.start(outcome, self.company.messages_with(outcome))
                if not sounds and not self._player.is_simulated:
                    self.announcements.say_once(SILENT_CLICK)
            case SetAside(reason, job, what):
                if job is None or self._session.drill.state is not DrillState.PLAYING:
                    self._clear_staff()
                self.verdict.say(reason, name_in_short(what))
                self._is_set_aside = True
                if self._session.drill.state is DrillState.FINISHED:
                    self.announcements.call_when_read(self._show_reached)
            case Proposed(text):
                self.announcements.propose(text, proposal_headline(text))
            case MovedOn():
                self._host.post_message(WentOn())

    def _clear_staff(self) -> None:
        """The first page, without marks."""
        self.staff.mark_all({})
        self.staff.turn_to(0)

    def _say_how_to_hear(self) -> str:
        """By which key the window is heard: the piano's, where it has one, else the computer's."""
        return how_to_ask(
            "hear",
            PianoCommand.HEAR,
            self._command_keys if self._player.piano else (),
            letters=self._player.uses_letters,
        )

    # -- a repetition -----------------------------------------------------------------------

    def show_waiting(self) -> None:
        """A repetition is being judged elsewhere; the next may begin meanwhile."""
        self.foot.take_back_proposal()
        self.verdict.say(LISTENING_BACK)

    def _show_ended(self, ended: RepetitionEnded) -> None:
        self.foresight.begin_anew()
        fault = self._session.keep(ended)  # first: what is shown is always in the record
        self.asked.hold(HOLD_S, self._show_next)
        if not ended.decision.changed:
            self.foot.set_reason(_reason_of(self._session.score, ended.decision))
        self.foot.take_back_proposal()
        judgement = ended.judgement
        headline = ""
        if not self._has_gone_on(judgement):
            self.staff.mark_all(marks_of(judgement))
            headline = verdict_headline(self._session.score, judgement)
        self.verdict.show_ended(ended, headline)
        self._show_run_of(ended)
        self.announcements.show_record_fault(fault)
        if offer := self.listening.offer(ended):
            self.announcements.propose(offer, "LISTEN")
        self._host.set_timer(HOLD_S, self._turn_back)
        self.foot.prefer_verdict()

    def _show_run_of(self, ended: RepetitionEnded) -> None:
        """How the assignment that was played stands now, also where the next one is decided."""
        decision, result = ended.decision, self.foot.result
        if not decision.changed:
            result.show_run(decision.clean_run, decision.assignment.clean_required)
            self.top.show_piece(decision)
        elif ended.judgement.clean:
            result.add_clean()
        else:
            result.show_run(0, ended.assignment.clean_required)

    def _has_gone_on(self, judgement: Judgement) -> bool:
        """Whether the staff shows something else than what was judged: the next repetition, or
        another window."""
        shown = self.staff.excerpt
        if shown is None or shown.window != judgement.excerpt.window:
            return True
        return self._session.drill.state is DrillState.PLAYING

    def _turn_back(self) -> None:
        """To the first page, where the next repetition begins, unless it has begun."""
        if self._session.drill.state is not DrillState.PLAYING:
            self.staff.turn_to(0)

    # -- the next assignment ----------------------------------------------------------------

    def _show_next(self) -> None:
        """Show the assignment that waits, if one does."""
        before = self.asked.assignment
        given = self.asked.take_next()
        if given is None:
            return
        if self._is_new(given.excerpt):
            self.staff.show_window(self._session.score, given.excerpt)
        self.top.show_piece(given.decision)
        self.top.show_assignment()
        self.foot.set_reason(_reason_of(self._session.score, given.decision))
        result = self.foot.result
        result.show_run(given.decision.clean_run, given.assignment.clean_required)
        if news := assignment_headline(self._session.score, before, given.assignment):
            result.show_headline(news)
        is_first = self.verdict.ended is None and self._session.drill.state is DrillState.READY
        if given.assignment.click and is_first:
            self.verdict.say_until_it_goes_on(STRIKE, "ANY KEY")
        self.foot.choose_rows()

    def _is_new(self, excerpt: Excerpt) -> bool:
        """Whether the staff shows another window than this."""
        return self.staff.excerpt is None or excerpt.window != self.staff.excerpt.window

    # -- where the drill stands ---------------------------------------------------------------

    def _show_state(self, state: DrillState) -> None:
        self.company.note_state(state)
        if state not in (DrillState.COUNT_IN, DrillState.PLAYING) and self.click.is_running:
            self.click.stop()
        words = {
            DrillState.NO_PIANO: (self._player.why_none or NO_PIANO, "NO PIANO"),
            DrillState.RESTING: (RESTING, "REST"),
            DrillState.FINISHED: (self.way_on.words, "FINISHED"),
        }.get(state)
        if state is DrillState.FINISHED:
            self.announcements.call_when_read(self._show_way_on)
        was_taken = self.verdict.give_back()
        if words:
            self.foot.take_back_proposal()
            self.verdict.say_until_it_goes_on(*words)
        elif state is DrillState.READY and self.way_on.is_open:  # nobody played it again after all
            if self._is_set_aside:
                self.announcements.call_when_read(self._show_reached)
            else:
                self._show_reached()
        elif was_taken:
            self.verdict.say("")

    def _show_reached(self) -> None:
        """What can be done at the goal, unless it is being played again."""
        if self.way_on.is_open:
            self.verdict.say(self.way_on.words)
            self._show_way_on()

    def _show_way_on(self) -> None:
        """The key that goes on, large, once it has been read that the goal is reached."""
        if headline := self.way_on.headline:
            self.foot.result.show_headline(headline)


def _reason_of(score: Score, decision: Decision) -> str:
    """Why this is asked for, and what the pianist or the teacher wrote on it."""
    notes = own_notes_words(score, decision.assignment.window)
    return " ".join(filter(None, (decision.assignment.reason, decision.note, *notes)))
