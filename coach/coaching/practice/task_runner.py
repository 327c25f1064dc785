"""The task in hand: one window to be got clean at its tempo, and the troubles met on the way.

A task is listened to, its trouble looked for (``locating``), mended and put back (``repair``); then
the window's own clean run is asked for again. :class:`Work` turns from one to the other after each
repetition:

=========  ==============================================================================
hearing    the task's window as it is, and its tempo on the way to the one asked for
probing    a suspect's surroundings, to learn whether something stands there and in which hand
mending    a case's rung
asked      what the pianist wished instead (:mod:`~coach.coaching.practice.requests`)
=========  ==============================================================================
"""

from __future__ import annotations

from fractions import Fraction

from coach.coaching.diagnosis import Diagnosis, Evidence
from coach.coaching.model import Assignment, Kind, Trouble
from coach.coaching.practice.locating import OPEN_DOUBT, Finding
from coach.coaching.practice.repair import Case, Mending
from coach.coaching.practice.task import Ask, Run, Task, most_of
from coach.coaching.practice.tempo import Climb
from coach.coaching.windows import Places
from coach.coaching.wording import tempo_words, trial_failed_words, up_words
from coach.score.model import Hands
from coach.score.window import Window


class Work:
    """One task under way."""

    def __init__(self, task: Task, places: Places, evidence: Evidence) -> None:
        self.task, self.places = task, places
        self.finding = Finding(task, places, evidence)
        self.mending = Mending(task, places, evidence)
        self.climb = Climb.of(task.qpm, task.start_qpm)
        """The tempo of the task's window; a case has its own."""
        self.run = Run()
        self.asked: Assignment | None = None
        """What the pianist wished instead, until its clean run is full."""
        self.done = False
        self.assignment = self._make(Ask(task.window, task.kind, task.reason))

    @property
    def case(self) -> Case | None:
        """The trouble that is being mended."""
        return self.mending.case

    @property
    def is_plain(self) -> bool:
        """Nothing is being looked for, mended or wished: what is played is the task itself."""
        return self.case is None and self.finding.probe is None and self.asked is None

    @property
    def climb_now(self) -> Climb:
        """The tempo of what is being played: the case's, or the task's."""
        return self.case.climb if self.case else self.climb

    # -- after a repetition ------------------------------------------------------------------

    def after(self, clean: bool, diagnosis: Diagnosis) -> None:
        """Decide what comes next. ``diagnosis`` already knows of the repetition."""
        self.hear(clean)
        self.decide(clean, diagnosis)

    def hear(self, clean: bool) -> None:
        """Take in a repetition, without deciding anything yet."""
        self.run.count(clean)
        self.done = self.done and clean
        if self.asked is not None:
            return
        if self.case is not None:
            self.mending.hear(self.case, clean)
        elif self.assignment.window == self.task.window:
            self.climb.heard(clean)

    def decide(self, clean: bool, diagnosis: Diagnosis) -> None:
        """Decide what comes next after the last repetition that was heard, clean or not."""
        if self.asked is not None:
            if self._run_is_full:
                self.go_on("On from where we were.")
        elif self.case is not None:
            if not clean and self._check_hand(self.case, diagnosis):
                return
            self._give(self.mending.after(self.case, clean, self.run))
            if self.case is None:
                self.climb.tries.clear()  # it is another passage now
        elif self.assignment.window == self.task.window:
            self.finding.hearings += 1
            self._hear(clean, diagnosis)
        else:
            self._look(clean, diagnosis)

    def _check_hand(self, case: Case, diagnosis: Diagnosis) -> bool:
        """Where both together won't hold, first hear again whether it is one hand alone."""
        if case.transition.hands is not Hands.TOGETHER or case.is_join:
            return False
        if not self.run.asks_for_change:
            return False
        check = self.finding.hand_to_check(diagnosis, case.transition)
        if check is not None:
            self.mending.case = None
            self._give(self.finding.look_into(check))
        return check is not None

    def _hear(self, clean: bool, diagnosis: Diagnosis) -> None:
        if clean and self._run_is_full:
            self._give(self._risen_or_done())
        elif self.climb.on_trial:
            self._give(self._after_trial(clean))
        elif not clean or self.finding.named(diagnosis):
            self._look(clean, diagnosis)

    @property
    def _run_is_full(self) -> bool:
        return self.run.clean >= self.assignment.clean_required

    def _risen_or_done(self) -> Ask | None:
        window = self.task.window
        if self.climb.on_trial:
            self.climb.trial_held()
        if self.climb.at_target:
            self.done = self.run.clean >= self.task.clean_required
            hold = Ask(window, Kind.QUICKEN, "That is the tempo: now hold it.")
            return None if self.done else hold
        kind = self.climb.up(self._beat(window))
        return Ask(window, kind, up_words(kind, self._tempo()))

    def _after_trial(self, clean: bool) -> Ask:
        window = self.task.window
        if clean:
            self.climb.trial_held()
            return Ask(window, Kind.QUICKEN, "Clean at the tempo asked for: hold it there.")
        self.climb.trial_failed()
        return Ask(window, Kind.SLOWER, trial_failed_words(self._tempo()))

    def _look(self, clean: bool, diagnosis: Diagnosis) -> None:
        """Look for the trouble; mend it where it is named and little else is in doubt."""
        on_all = self.assignment.window == self.task.window
        must_change = self.run.asks_for_change
        if on_all and self.finding.is_all_loose:
            self._give(self._loosen() if must_change else None)
            return
        enough = must_change or (not on_all and self.run.held_twice)
        probe = self.finding.best(diagnosis, self.assignment.window if enough else None)
        named = self.finding.named(diagnosis)
        if named and (probe is None or probe.suspect.posterior.fault <= OPEN_DOUBT):
            begin = self.finding.has_heard_enough or (on_all and must_change)
            self._give(self._open(named[0]) if begin else self.finding.hear_again())
        elif probe is not None:
            ask = self.finding.look_into(probe)
            self._give(None if probe.window == self.assignment.window else ask)
        elif (untold := self.finding.untold(diagnosis)) is not None:
            self._give(self._open(untold))
        elif not on_all:
            self._give(self.finding.back_to_all(clean))
        elif must_change:
            self._give(self._loosen())

    def _open(self, trouble: Trouble) -> Ask:
        self.finding.begin()
        return self.mending.open_trouble(trouble, self.case_climb())

    def _loosen(self) -> Ask:
        """Nothing stands out and it can't be had: slower, or smaller where it can't be slower."""
        if self.climb.at_floor:
            return self.mending.open_worst(self.finding.worst(), self.case_climb())
        self.climb.down(self._beat(self.task.window))
        reason = f"It slips here and there: {self._tempo()}."
        return Ask(self.task.window, Kind.SLOWER, reason)

    def case_climb(self) -> Climb:
        """The tempo for a case that begins now: from the whole's, on its way back to it."""
        now = self.assignment.qpm if self.climb.on_trial else self.climb.now
        return Climb(self.climb.now, now, self.climb.slowest)

    # -- assignments -------------------------------------------------------------------------

    def go_on(self, reason: str, kind: Kind = Kind.JOIN) -> None:
        """Back from a wish to where the work stood."""
        self.asked = None
        self._give(Ask(self.case.window if self.case else self.task.window, kind, reason))

    def give_instead(self, wished: Assignment) -> None:
        """A wish, until its clean run is full."""
        self.asked = self.assignment = wished
        self.run = Run()

    def give(self, window: Window, kind: Kind, reason: str) -> None:
        """Ask for a window, at the tempo that stands."""
        self._give(Ask(window, kind, reason))

    def _beat(self, window: Window) -> Fraction:
        return self.places.beat_quarters(window)

    def _tempo(self) -> str:
        return tempo_words(self.climb.now, float(self._beat(self.task.window)))

    def _required(self, window: Window) -> int:
        if self.climb_now.on_trial:
            return 1
        if self.case is not None:
            return self.case.required(self.task.clean_required)
        if self.climb.at_target or window != self.task.window:
            return self.task.clean_required
        return most_of(self.task.clean_required)

    def _make(self, ask: Ask) -> Assignment:
        qpm = self.climb_now.now
        return Assignment(
            window=ask.window,
            qpm=qpm,
            stage=self.task.stage,
            clean_required=self._required(ask.window),
            kind=ask.kind,
            reason=ask.reason,
            click=self.task.stage.has_click and qpm is not None,
        )

    def _give(self, ask: Ask | None) -> None:
        """Ask for something; None: the same again, for as many as it now takes."""
        before = self.assignment
        ask = ask or Ask(before.window, before.kind, before.reason)
        given = self._make(ask)
        if before.qpm and given.qpm and self.run.unclean and given.qpm > before.qpm:
            # After an unclean repetition the tempo never rises.
            self.climb_now.now = before.qpm
            given = self._make(ask)
        self.assignment = given
        if before.to_play != given.to_play:
            self.run = Run()
