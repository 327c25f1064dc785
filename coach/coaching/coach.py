"""The coach's head: hears judgements, and says what to play next and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from coach.coaching.climb import Climb
from coach.coaching.diagnosis import Diagnosis, diagnose
from coach.coaching.evidence import fold, observations
from coach.coaching.facts import Decision, Goal, Observation, Request, Trouble
from coach.coaching.places import Places
from coach.coaching.standing import (
    FORMAT,
    goal_from_plain,
    goal_to_plain,
    take_up,
    work_to_plain,
)
from coach.coaching.words import NO_ONE_PLACE
from coach.coaching.work import Run, Task, Work
from coach.judging.facts import Judgement
from coach.score.model import Score


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
        self._work = Work(self._task(), self.places, self.evidence, Climb(self._qpm, self._qpm))
        self._changed = True

    @property
    def _qpm(self) -> float | None:
        return None if self.goal.own_pace else self.goal.qpm

    def _task(self) -> Task:
        goal = self.goal
        return Task(goal.window, self._qpm, goal.stage, goal.clean_required, self._qpm)

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
            finished=work.done,
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
        after = self._work.assignment
        self._changed = (before.window, before.qpm, before.stage) != (
            after.window,
            after.qpm,
            after.stage,
        )
        return self.decision

    def ask(self, request: Request, now_s: float) -> Decision:
        """Follow the pianist's wish."""
        before, work = self._work.assignment, self._work
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
        else:
            work.leave(for_good=request is Request.NOT_THIS)
        self._changed = before != work.assignment
        return self.decision

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
        take_up(coach._work, state["work"], coach.places)
        return coach
