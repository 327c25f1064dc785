"""Several drills one after another as if they were one: the warm-up."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from coach.coaching.drill import Drill
from coach.coaching.facts import Assignment, Decision, Request
from coach.coaching.outcomes import (
    AssignmentGiven,
    Outcome,
    Proposed,
    RepetitionEnded,
    State,
    StateChanged,
)
from coach.coaching.plan import RowState
from coach.coaching.words import ENOUGH
from coach.judging.facts import Judgement
from coach.judging.job import JudgingJob
from coach.score.window import Excerpt


class DrillSequence:
    """Behaves as a :class:`Drill`; a drill that reaches its goal hands on to the next.

    ``makers`` make the drills when their turn comes, from the time then; there is at least one.
    """

    def __init__(self, makers: Sequence[Callable[[float], Drill]], now_s: float) -> None:
        self._left = list(makers)
        self._count = len(makers)
        self._passed_over: set[int] = set()
        self.drill = self._left.pop(0)(now_s)
        self._before: list[Drill] = []
        """Those that were passed over while a verdict was still to come."""

    @property
    def state(self) -> State:
        """Where the present drill stands."""
        return self.drill.state

    @property
    def decision(self) -> Decision:
        """What the coach decided last."""
        return self.drill.decision

    @property
    def assignment(self) -> Assignment:
        """What is to be played now."""
        return self.drill.assignment

    @property
    def excerpt(self) -> Excerpt:
        """The notes of the present window."""
        return self.drill.excerpt

    @property
    def left(self) -> int:
        """How many drills come after this one."""
        return len(self._left)

    @property
    def states(self) -> tuple[RowState, ...]:
        """What became of each drill, in order."""
        now = self._count - len(self._left) - 1
        passed_over = self._passed_over
        past = (RowState.LEFT_OUT if at in passed_over else RowState.HELD for at in range(now))
        present = RowState.HELD if self.decision.finished else RowState.NOW
        return (*past, present, *[RowState.TO_COME] * len(self._left))

    def start(self, now_s: float) -> tuple[Outcome, ...]:
        """Show the first assignment."""
        return self.drill.start(now_s)

    def key_down(self, pitch: int, velocity: int, at_s: float) -> tuple[Outcome, ...]:
        """A key was struck."""
        return self._on(self.drill.key_down(pitch, velocity, at_s), at_s)

    def key_up(self, pitch: int, at_s: float) -> tuple[Outcome, ...]:
        """A key was released."""
        return self._on(self.drill.key_up(pitch, at_s), at_s)

    def pedal(self, controller: int, value: int, at_s: float) -> tuple[Outcome, ...]:
        """A pedal moved."""
        return self.drill.pedal(controller, value, at_s)

    def tick(self, now_s: float) -> tuple[Outcome, ...]:
        """Time passed."""
        return self._on(self.drill.tick(now_s), now_s)

    def judged(self, job: JudgingJob, judgement: Judgement, now_s: float) -> tuple[Outcome, ...]:
        """The verdict on a repetition that was given out to be judged."""
        for drill in self._before:
            if drill.waits_for(job):
                said = drill.judged(job, judgement, now_s)
                return tuple(one for one in said if isinstance(one, RepetitionEnded))
        return self._on(self.drill.judged(job, judgement, now_s), now_s)

    def piano_lost(self, now_s: float) -> tuple[Outcome, ...]:
        """The piano vanished."""
        return self.drill.piano_lost(now_s)

    def piano_found(self, now_s: float) -> tuple[Outcome, ...]:
        """The piano is there."""
        return self.drill.piano_found(now_s)

    def ask(self, request: Request, now_s: float) -> tuple[Outcome, ...]:
        """The pianist's wish; "next" and "not this" go on to the next spot."""
        if request in (Request.NEXT, Request.NOT_THIS) and self._left:
            self._passed_over.add(self._count - len(self._left) - 1)
            return self._next(now_s)
        return self._on(self.drill.ask(request, now_s), now_s)

    def pause(self, now_s: float) -> tuple[Outcome, ...]:
        """Rest."""
        return self.drill.pause(now_s)

    def resume(self, now_s: float) -> tuple[Outcome, ...]:
        """Go on."""
        return self.drill.resume(now_s)

    def _on(self, outcomes: tuple[Outcome, ...], now_s: float) -> tuple[Outcome, ...]:
        if self.drill.state is not State.FINISHED or not self._left:
            return outcomes
        # It is not enough yet: the next spot comes.
        last = (StateChanged(State.FINISHED), Proposed(ENOUGH))
        shown = tuple(one for one in outcomes if one not in last)
        return shown + self._next(now_s)

    def _next(self, now_s: float) -> tuple[Outcome, ...]:
        if self.drill.waits_for():
            self._before.append(self.drill)
        self.drill = self._left.pop(0)(now_s)
        given = AssignmentGiven(self.assignment, self.excerpt, self.decision)
        return (StateChanged(self.state), given)
