"""The coach's head: hears judgements, and says what to play next and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from coach.coaching.climb import Climb
from coach.coaching.diagnosis import Diagnosis, diagnose
from coach.coaching.evidence import fold, observations
from coach.coaching.facts import Assignment, Decision, Goal, Observation, Request, Trouble
from coach.coaching.places import Places
from coach.coaching.plan import PlanRow, steps
from coach.coaching.rest import Rest
from coach.coaching.standing import (
    FORMAT,
    goal_from_plain,
    goal_to_plain,
    take_up,
    work_to_plain,
)
from coach.coaching.words import ENOUGH, NO_ONE_PLACE, as_far_as_it_goes
from coach.coaching.work import Run, Work
from coach.judging.facts import Judgement, Stage
from coach.score.model import Score
from coach.score.window import Window


@dataclass(frozen=True, slots=True)
class CoachSettings:
    """What can be set besides the goal."""

    break_after_minutes: float = 25.0


class Coach:
    """Leads one pianist through one goal."""

    def __init__(
        self,
        score: Score,
        goal: Goal,
        *,
        history: Iterable[Observation] = (),
        settings: CoachSettings = CoachSettings(),
        now_s: float = 0.0,
    ) -> None:
        self.score, self.goal, self.settings = score, goal, settings
        self.places = Places(score, goal.window)
        self.evidence = fold(history, self._qpm, now_s)
        self._diagnosis: Diagnosis = diagnose(self.evidence, self.places)
        self._steps = steps(self.places, goal)
        self._step = 0
        self._left_out: set[int] = set()
        self._work = self._begin(0)
        self._rest = Rest(settings.break_after_minutes)
        self._proposals: tuple[str, ...] = ()
        self._finished = False
        self._changed = True

    @property
    def _qpm(self) -> float | None:
        return None if self.goal.own_pace else self.goal.qpm

    def _begin(self, step: int) -> Work:
        task = self._steps[step].task
        climb = Climb(task.qpm, task.start_qpm)
        return Work(task, self.places, self.evidence, climb)

    @property
    def decision(self) -> Decision:
        """What stands now."""
        work = self._work
        return Decision(
            assignment=work.assignment,
            changed=self._changed,
            clean_run=work.run.clean,
            trouble=self._trouble(),
            troubles=self._diagnosis.troubles,
            finished=self._finished,
            proposals=self._proposals,
            note=self._note(),
        )

    def _trouble(self) -> Trouble | None:
        case = self._work.case
        if case is not None:
            at_hand = [t for t in self._diagnosis.troubles if t.transition == case.transition]
            if at_hand:
                return at_hand[0]
        return self._diagnosis.troubles[0] if self._diagnosis.troubles else None

    def _note(self) -> str:
        slipped = self._diagnosis.suspects or self._work.run.failed
        return NO_ONE_PLACE if slipped and not self._diagnosis.troubles and self._work.done else ""

    def after(self, judgement: Judgement, now_s: float) -> Decision:
        """Take in a judged repetition and decide."""
        before = self._work.assignment
        heard = observations(judgement, now_s)
        window = judgement.excerpt.window
        moves = [o for o in heard if not self.places.is_entry(o.transition, window)]
        self.evidence.add(moves, before.qpm if before.qpm is None else self._qpm)
        self._diagnosis = diagnose(self.evidence, self.places)
        self._work.after(judgement.clean, self._diagnosis)
        self._proposals = self._rest.heard(judgement.excerpt, _played_s(judgement), now_s)
        was_finished = self._finished
        if self._work.done:
            self._go_to(self._step + 1)
        self._finished = self._work.done and self._step == len(self._steps) - 1
        if self._finished and not was_finished:
            self._proposals += (ENOUGH,)
        after = self._work.assignment
        self._changed = _place(before) != _place(after)
        return self.decision

    def _go_to(self, step: int) -> None:
        """On to a later step of the plan, where there is one."""
        if step < len(self._steps):
            self._step, self._work = step, self._begin(step)

    def plan(self) -> tuple[PlanRow, ...]:
        """The whole way to the goal, with where it stands."""
        return tuple(
            PlanRow(step.what, step.task.window, self._state_of(i))
            for i, step in enumerate(self._steps)
        )

    def _state_of(self, step: int) -> str:
        if step in self._left_out:
            return "left out"
        if step == self._step and not self._work.done:
            return "now"
        return "held" if step <= self._step else "to come"

    def ask(self, request: Request, now_s: float) -> Decision:
        """Follow the pianist's wish."""
        before, work = self._work.assignment, self._work
        work.done = self._finished = False
        if request is Request.SLOWER:
            work.set_tempo(-2)
        elif request is Request.FASTER:
            work.set_tempo(2)
        elif request is Request.SMALLER:
            work.narrow(self._diagnosis)
        elif request is Request.LARGER:
            work.widen()
        elif request is Request.OTHER_HAND:
            work.other_hand()
        elif request is Request.AGAIN:
            work.run = Run()
        elif self._is_on_the_plan and self._step + 1 < len(self._steps):
            self._left_out.add(self._step)
            self._go_to(self._step + 1)
        else:
            work.leave(for_good=request is Request.NOT_THIS)
        self._changed = before != self._work.assignment
        if request is not Request.AGAIN and _place(before) == _place(self._work.assignment):
            reason = as_far_as_it_goes(request, before.qpm)
            self._work.assignment = replace(self._work.assignment, reason=reason)
        return self.decision

    @property
    def _is_on_the_plan(self) -> bool:
        """Nothing is being looked for or mended: what is played is the step itself."""
        return self._work.case is None and self._work.probe is None and self._work.asked is None

    def why(self) -> str:
        """The reason for the present assignment, with the evidence."""
        trouble = self._trouble()
        reason = self._work.assignment.reason
        return f"{reason} {trouble.place}: {trouble.evidence}." if trouble else reason

    def state(self) -> dict[str, Any]:
        """Where the drill stands, JSON-ready, for :meth:`resume`."""
        return {
            "format": FORMAT,
            "goal": goal_to_plain(self.goal),
            "work": work_to_plain(self._work),
            "step": self._step,
            "left_out": sorted(self._left_out),
        }

    @classmethod
    def resume(
        cls,
        score: Score,
        state: Mapping[str, Any],
        *,
        history: Iterable[Observation] = (),
        settings: CoachSettings = CoachSettings(),
        now_s: float = 0.0,
    ) -> Coach:
        """A coach that goes on from a state.

        Raises KeyError, TypeError or ValueError where the state is of another version, or of a
        window that the score does not have.
        """
        if state["format"] != FORMAT:
            raise ValueError(f"state of format {state['format']!r}, not {FORMAT}")
        goal = goal_from_plain(state["goal"])
        coach = cls(score, goal, history=history, settings=settings, now_s=now_s)
        coach._go_to(int(state["step"]))
        coach._left_out = {int(step) for step in state["left_out"]}
        take_up(coach._work, state["work"], coach.places)
        coach._finished = coach._work.done and coach._step == len(coach._steps) - 1
        return coach


def _place(assignment: Assignment) -> tuple[Window, float | None, Stage]:
    """What is to be played, without the reason for it."""
    return assignment.window, assignment.qpm, assignment.stage


def _played_s(judgement: Judgement) -> float:
    """About how long a repetition took: its notes at the tempo found."""
    notes = judgement.excerpt.notes
    quarters = float(notes[-1].onset_quarters - notes[0].onset_quarters) + 1.0
    return quarters * 60.0 / (judgement.qpm or judgement.excerpt.qpm)
