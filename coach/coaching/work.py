"""The task in hand: one window to be got clean at its tempo, and the troubles met on the way.

A task is listened to, its trouble looked for, mended as a :class:`~coach.coaching.case.Case`, and
put back; then the window's own clean run is asked for again. :class:`Work` decides what comes
next after each repetition; it is the moves between these:

=========  ==============================================================================
hearing    the task's window as it is
probing    a suspect's surroundings, to learn whether something stands there and in which hand
mending    a case's rung
=========  ==============================================================================
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction

from coach.coaching.case import Case, first_together, rungs
from coach.coaching.choice import Candidate, choose
from coach.coaching.climb import Climb
from coach.coaching.diagnosis import Diagnosis, Suspect
from coach.coaching.evidence import Evidence
from coach.coaching.facts import Assignment, Kind, Trouble
from coach.coaching.metronome import marked
from coach.coaching.places import Places
from coach.coaching.statistics import Sprt
from coach.coaching.words import HANDS, tempo_words, times
from coach.judging.facts import Stage
from coach.score.model import Hand, Hands
from coach.score.window import Transition, Window

WORTH_HEARING = 0.02
"""Bits a beat of the whole window, above which it is heard again before mending begins."""
OPEN_DOUBT = 0.05
"""A suspect above this is looked into before mending another."""
HOLDS = "That holds: the whole of it again."
STOP_EARLY = Sprt(low=0.1, high=0.5, alpha=0.05, beta=0.10)
"""Clean nine times in ten, or only every second time: two failures running decide for the latter,
four clean ones for the former (Wald 1945)."""


@dataclass(frozen=True, slots=True)
class Task:
    """What is to be reached: a window, clean at a tempo, so many times running."""

    window: Window
    qpm: float | None
    stage: Stage
    clean_required: int
    start_qpm: float | None
    """The tempo to begin at."""
    kind: Kind = Kind.TRY
    reason: str = "Play it as you would, so that I hear where it breaks."


@dataclass(slots=True)
class Run:
    """The repetitions of the present assignment, up to now."""

    clean: int = 0
    """Clean ones running."""
    unclean: int = 0
    """Unclean ones running."""
    played: int = 0
    failed: int = 0

    def count(self, clean: bool) -> None:
        """Take in one repetition."""
        self.played += 1
        self.failed += not clean
        self.clean, self.unclean = (self.clean + 1, 0) if clean else (0, self.unclean + 1)

    @property
    def asks_for_change(self) -> bool:
        """Two unclean ones running, or as plain a sign that it can't be had as it is."""
        return self.unclean >= 2 or STOP_EARLY.verdict(self.failed, self.played) is False


@dataclass
class Work:
    """One task under way."""

    task: Task
    places: Places
    evidence: Evidence
    climb: Climb
    assignment: Assignment = field(init=False)
    run: Run = field(default_factory=Run)
    case: Case | None = None
    probe: Suspect | None = None
    mended: dict[Fraction, int] = field(default_factory=dict)
    """Beats that were mended in this task, and how often."""
    left_alone: set[Fraction] = field(default_factory=set)
    """Beats that the pianist declined, or that would not mend for now."""
    asked: Assignment | None = None
    """What the pianist wished instead, until its clean run is full."""
    done: bool = False
    heard_whole: int = 0

    def __post_init__(self) -> None:
        self.assignment = self._make(self.task.window, self.task.kind, self.task.reason)

    # -- after a repetition ------------------------------------------------------------------

    def after(self, clean: bool, diagnosis: Diagnosis) -> None:
        """Decide what comes next. ``diagnosis`` already knows of the repetition."""
        self.run.count(clean)
        self.done = self.done and clean
        if self.asked is not None:
            if self._run_is_full():
                self.go_on()
        elif self.case is not None:
            self._mend(self.case, clean, diagnosis)
        elif self.assignment.window == self.task.window:
            self.heard_whole += 1
            self._hear(clean, diagnosis)
        else:
            self._look(clean, diagnosis)

    def _hear(self, clean: bool, diagnosis: Diagnosis) -> None:
        if clean and self._run_is_full():
            self._risen_or_done()
        elif self.climb.on_trial:
            self._after_trial(self.climb, clean, self.task.window)
        elif not clean or self._named(diagnosis):
            self._look(clean, diagnosis)

    def _run_is_full(self) -> bool:
        return self.run.clean >= self.assignment.clean_required

    def _risen_or_done(self) -> None:
        if self.climb.on_trial:
            self.climb.trial_held()
        if self.climb.at_target:
            self.done = self.run.clean >= self.task.clean_required
            if not self.done:
                self._give(self.task.window, Kind.QUICKEN, "That is the tempo: now hold it.")
            return
        kind = self.climb.up(self._beat(self.task.window))
        self._give(self.task.window, kind, self._up_reason(kind, self.climb))

    def _after_trial(self, climb: Climb, clean: bool, window: Window) -> None:
        if clean:
            climb.trial_held()
            self._give(window, Kind.QUICKEN, "Clean at the tempo asked for: hold it there.")
        else:
            climb.trial_failed(self._beat(window))
            self._give(window, Kind.SLOWER, f"Not yet: {self._tempo(climb, window)} once more.")

    def _look(self, clean: bool, diagnosis: Diagnosis) -> None:
        """Look for the trouble: the repetition that tells most for its time."""
        banned = [self.assignment.window] if self.run.asks_for_change else []
        best = choose(
            self._open_suspects(diagnosis), self.evidence, self.places, self.task.window, banned
        )
        if not self._worth_hearing_on(best, bool(banned)) and self._open_case(diagnosis, clean):
            return
        if best.suspect is not None:
            self._probe(best)
        elif self.assignment.window == self.task.window and banned:
            self._loosen(diagnosis)
        elif self.assignment.window != self.task.window:
            self.probe = None
            known = bool(self._named(diagnosis))
            reason = "I have that place. All of it again, for the rest." if known else HOLDS
            self._give(self.task.window, Kind.TRY if known else Kind.WIDEN, reason)

    def _worth_hearing_on(self, best: Candidate, must_change: bool) -> bool:
        """Whether to look further although a trouble is named: there may be more than one."""
        if best.suspect is not None:
            return best.suspect.belief.fault > OPEN_DOUBT
        return not must_change and best.bits_per_beat > WORTH_HEARING

    def _open_suspects(self, diagnosis: Diagnosis) -> Diagnosis:
        left = tuple(
            s for s in diagnosis.suspects if s.transition.to_quarters not in self.left_alone
        )
        return replace(diagnosis, suspects=left)

    def _probe(self, best: Candidate) -> None:
        assert best.suspect is not None
        self.probe = best.suspect
        if best.window == self.assignment.window:
            return
        place = self.places.words(best.suspect.transition).split(" ", 1)[1]
        apart = best.window.hands is not self.task.window.hands
        kind = Kind.APART if apart else Kind.NARROW
        what = HANDS[best.window.hands].capitalize() if apart else "Only this"
        self._give(best.window, kind, f"{what}: is it {place.removeprefix('hands ')}?")

    def _loosen(self, diagnosis: Diagnosis) -> None:
        """Nothing stands out and it can't be had: slower, or smaller where it can't be slower."""
        if not self.climb.at_floor:
            self.climb.down(self._beat(self.task.window))
            tempo = self._tempo(self.climb, self.task.window)
            self._give(self.task.window, Kind.SLOWER, f"It slips here and there: {tempo}.")
            return
        worst = self._worst(diagnosis)
        ladder, _ = rungs(self.places, worst, self.task.window)
        together = [w for w in ladder if w.hands is self.task.window.hands]
        bar = self.places.bar(worst, self.task.window.hands)
        at = together.index(bar) if bar in together else len(together) - 1
        self._begin(Case(worst, tuple(together), at, self._case_climb(), at), Kind.NARROW)

    def _worst(self, diagnosis: Diagnosis) -> Transition:
        """The move that failed most, whoever's it is."""
        inside = [t for t in self.places.transitions if self.places.covers(self.task.window, t)]

        def failed(t: Transition) -> float:
            tally = self.evidence.beats.get(t.to_quarters)
            return tally.totals(Hand(t.hands.value))[0] if tally else 0.0

        return max(inside, key=failed)

    # -- a case ------------------------------------------------------------------------------

    def _open_case(self, diagnosis: Diagnosis, clean: bool) -> bool:
        """Turn to the worst trouble that is named and not left alone."""
        named = self._named(diagnosis)
        if not named:
            return False
        trouble = named[0]
        ladder, start = rungs(self.places, trouble.transition, self.task.window)
        windows = tuple(ladder)
        again = trouble.transition.to_quarters in self.mended
        at = first_together(windows, self.task.window) if again else start
        case = Case(trouble.transition, windows, at, self._case_climb(), at)
        if not clean and not case.climb.at_floor:
            case.climb.down(self._beat(windows[at]))
        self._begin(case, Kind.NARROW if again or not case.climb.at_target else Kind.DRILL)
        return True

    def _named(self, diagnosis: Diagnosis) -> list[Trouble]:
        return [t for t in diagnosis.troubles if self._is_open(t)]

    def _is_open(self, trouble: Trouble) -> bool:
        beat = trouble.transition.to_quarters
        inside = self.places.covers(
            self.task.window, replace(trouble.transition, hands=self.task.window.hands)
        )
        return beat not in self.left_alone and inside

    def _case_climb(self) -> Climb:
        now = self.assignment.qpm if self.climb.on_trial else self.climb.now
        return Climb(target=self.climb.now, now=now)

    def _begin(self, case: Case, kind: Kind) -> None:
        self.case, self.probe = case, None
        what = self.places.words(case.transition)
        required = case.required(self.task.clean_required)
        tempo = self._tempo(case.climb, case.window)
        self._give(case.window, kind, f"{what}: {tempo}, {times(required)} running.")

    def _mend(self, case: Case, clean: bool, diagnosis: Diagnosis) -> None:
        case.unclean += not clean
        if case.climb.on_trial:
            if clean:
                case.climb.trial_held()
                if not self._run_full_for(case):
                    self._step(case, Kind.QUICKEN, "Clean at tempo: hold it there.")
                    return
            else:
                case.climb.trial_failed(self._beat(case.window))
                self._step(case, Kind.SLOWER, "Not yet at tempo.")
                return
        if clean and self._run_full_for(case):
            self._case_up(case)
        elif not clean and self.run.asks_for_change:
            self._case_down(case)
        elif not clean:
            self._step(case, self.assignment.kind, self.assignment.reason)

    def _run_full_for(self, case: Case) -> bool:
        return self.run.clean >= case.required(self.task.clean_required)

    def _case_up(self, case: Case) -> None:
        if not case.climb.at_target:
            kind = case.climb.up(self._beat(case.window))
            self._step(case, kind, self._up_reason(kind, case.climb))
            return
        if not case.is_join:
            self.evidence.mended(case.transition.to_quarters, case.transition.hands)
        before = case.window
        if case.rise():
            joined = case.window.hands is not before.hands
            what = "Hands together now" if joined else "A little more of it"
            self._step(case, Kind.JOIN if joined else Kind.WIDEN, f"It holds. {what}.")
        else:
            self._close(case)

    def _case_down(self, case: Case) -> None:
        if case.is_join:
            case.fall()
            self._step(case, Kind.NARROW, "That broke again: back one step.")
        elif not case.climb.at_floor:
            case.climb.down(self._beat(case.window))
            self._step(case, Kind.SLOWER, "Two that were not clean: slower.")
        elif case.fall():
            case.start = case.at
            self._step(case, Kind.NARROW, "Smaller still.")
        else:
            self.left_alone.add(case.transition.to_quarters)
            self._close(case)

    def _close(self, case: Case) -> None:
        beat = case.transition.to_quarters
        left = beat in self.left_alone
        if not left:
            self.mended[beat] = self.mended.get(beat, 0) + 1
            self.evidence.mended(beat, case.transition.hands)
        self.case = None
        reason = (
            "Leave that place for now: the whole of it." if left else "Back to the whole of it."
        )
        self._give(self.task.window, Kind.WIDEN, reason)

    def _step(self, case: Case, kind: Kind, reason: str) -> None:
        self._give(case.window, kind, reason)

    def resume(self, window: Window, kind: Kind, reason: str) -> None:
        """Go on with a window after the state was taken from an earlier day."""
        self._give(window, kind, reason)

    # -- wishes ------------------------------------------------------------------------------

    def go_on(self) -> None:
        """Back from a wish to where the work stood."""
        self.asked = None
        window = self.case.window if self.case else self.task.window
        self._give(window, Kind.JOIN, "On from where we were.")

    def set_tempo(self, quicker_marks: int) -> None:
        """So many marks quicker (negative: slower) from now on, as asked."""
        climb = self.case.climb if self.case else self.climb
        if climb.now is not None:
            climb.now = marked(climb.now, self._beat(self.assignment.window), quicker_marks)
            climb.before_trial = None
        self.run = Run()
        self._give(self.assignment.window, Kind.ASKED, "As you asked.")

    def narrow(self, diagnosis: Diagnosis) -> None:
        """The next smaller window, as asked."""
        self.asked = None
        if self.case is None:
            focus = self.probe.transition if self.probe else self._worst(diagnosis)
            ladder, _ = rungs(self.places, focus, self.task.window)
            at = len(ladder) - 1
            self.case, self.probe = Case(focus, tuple(ladder), at, self._case_climb(), at), None
        elif self.case.fall():
            self.case.start = min(self.case.start, self.case.at)
        self._give(self.case.window, Kind.ASKED, "Smaller, as you asked.")

    def widen(self) -> None:
        """The next larger window, as asked."""
        self.asked = None
        if self.case is not None and self.case.rise():
            self._give(self.case.window, Kind.ASKED, "Larger, as you asked.")
        else:
            self.leave(for_good=False)

    def other_hand(self) -> None:
        """The same stretch for the other hand, then for both, as asked."""
        after = {
            Hands.TOGETHER: Hands.RIGHT,
            Hands.RIGHT: Hands.LEFT,
            Hands.LEFT: Hands.TOGETHER,
        }
        window = self.assignment.window
        for hands in (after[window.hands], after[after[window.hands]]):
            cut = self.places.clip(window.start_quarters, window.end_quarters, hands)
            if cut.hands is hands and cut != window:
                break
        given = replace(self.assignment, window=cut, kind=Kind.ASKED, reason="As you asked.")
        self.asked = self.assignment = given
        self.run = Run()

    def leave(self, *, for_good: bool) -> None:
        """Away from the trouble in hand: back to the whole; for good: it is not taken up again."""
        self.asked = None
        at_hand = self.case.transition if self.case else None
        at_hand = self.probe.transition if self.probe else at_hand
        if for_good and at_hand is not None:
            self.left_alone.add(at_hand.to_quarters)
        self.case = self.probe = None
        self._give(self.task.window, Kind.ASKED, "As you asked.")

    # -- assignments -------------------------------------------------------------------------

    def _beat(self, window: Window) -> Fraction:
        return self.places.beat_quarters(window)

    def _tempo(self, climb: Climb, window: Window) -> str:
        return tempo_words(climb.now, float(self._beat(window)))

    def _up_reason(self, kind: Kind, climb: Climb) -> str:
        if kind is Kind.TRIAL:
            return "It holds: try it once at the tempo asked for."
        return f"It holds: {self._tempo(climb, self.task.window)}."

    def _make(self, window: Window, kind: Kind, reason: str) -> Assignment:
        climb = self.case.climb if self.case else self.climb
        if self.case is not None:
            required = self.case.required(self.task.clean_required)
        elif climb.at_target or window != self.task.window:
            required = self.task.clean_required
        else:
            required = max(1, -(-self.task.clean_required * 2 // 3))
        if climb.on_trial:
            required = 1
        return Assignment(
            window=window,
            qpm=climb.now,
            stage=self.task.stage,
            clean_required=required,
            kind=kind,
            reason=reason,
            click=self.task.stage in (Stage.PULSE, Stage.TEMPO) and climb.now is not None,
        )

    def _give(self, window: Window, kind: Kind, reason: str) -> None:
        before = self.assignment
        self.assignment = given = self._make(window, kind, reason)
        if before.qpm and given.qpm and self.run.unclean and given.qpm > before.qpm:
            # After an unclean repetition the tempo never rises.
            climb = self.case.climb if self.case else self.climb
            climb.now = before.qpm
            self.assignment = given = replace(given, qpm=before.qpm)
        if (before.window, before.qpm, before.stage) != (given.window, given.qpm, given.stage):
            self.run = Run()
