"""The drill: keys, silence and wishes in; marks, verdicts and assignments out.

It reads no clock, keeps no file and calls nobody: every method takes the time and returns the
outcomes in the order in which they happened. Times are seconds on one monotonic clock;
``epoch_s`` (Unix time minus that clock) places them on a day.

Thread-safe: no. Blocks: no.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from coach.coaching.clicking import Clicking
from coach.coaching.coach import Coach
from coach.coaching.ear import Ear
from coach.coaching.facts import (
    Assignment,
    Decision,
    Goal,
    Observation,
    Order,
    PlanChange,
    Request,
)
from coach.coaching.outcomes import (
    AssignmentGiven,
    NoteMarked,
    Outcome,
    PlanChanged,
    Proposed,
    RepetitionBegan,
    RepetitionEnded,
    SetAside,
    State,
    StateChanged,
    StrayKey,
)
from coach.coaching.states import Event, moved
from coach.judging.heard import Begun, Ended, Heard, Marked, NotThis, Stray
from coach.judging.tolerance import Strictness, Tolerance
from coach.playing.notes import PlayedNote, Take
from coach.score.model import Score
from coach.score.window import Excerpt

TOO_SOON = "You came in before the count was over: listen to all of it."


class Drill:
    """One pianist at one piece, until the goal is reached.

    Feed it with :meth:`key_down`, :meth:`key_up`, :meth:`pedal` and, some twenty times a second,
    :meth:`tick`; or give it whole repetitions with :meth:`repetition`. ``click_offset_s`` is how
    late the player's keys come against the click (see ``coach.judging.calibration``).
    """

    def __init__(
        self,
        score: Score,
        goal: Goal,
        *,
        coach: Coach | None = None,
        history: Iterable[Observation] = (),
        tolerance: Tolerance | None = None,
        now_s: float = 0.0,
        epoch_s: float = 0.0,
        click_offset_s: float = 0.0,
    ) -> None:
        self.score = score
        self.goal = goal
        self.coach = coach or Coach(score, goal, history=history, now_s=now_s + epoch_s)
        self.state = State.READY
        self._epoch_s = epoch_s
        tolerance = tolerance or Tolerance.of(Strictness.USUAL)
        self._ear = Ear(score, tolerance, click_offset_s, self.assignment)

    @property
    def decision(self) -> Decision:
        """What the coach decided last."""
        return self.coach.decision

    @property
    def assignment(self) -> Assignment:
        """What is to be played now."""
        return self.coach.decision.assignment

    @property
    def excerpt(self) -> Excerpt:
        """The notes of the present window."""
        return self._ear.excerpt

    @property
    def is_finished(self) -> bool:
        """Whether it stands at its goal."""
        return self.state is State.FINISHED

    def start(self, now_s: float) -> tuple[Outcome, ...]:
        """Show the first assignment."""
        return (StateChanged(self.state), self._given(now_s))

    # -- what is played ---------------------------------------------------------------------

    def key_down(self, pitch: int, velocity: int, at_s: float) -> tuple[Outcome, ...]:
        """A key was struck.

        At the goal the window played anew from its beginning goes on with it, and other keys do
        not; with a click any key counts in, as ever.
        """
        if self.state is State.NO_PIANO:
            return ()
        out: list[Outcome] = []
        at_rest = self.state is State.RESTING or (self.is_finished and self._click.is_wanted)
        if at_rest:  # no hand is free for a key of the computer
            out += self._move(Event.GO_ON)
        if self.state is State.READY and self._click.is_wanted:
            return (*out, *self._start_click(at_s))
        if self.state is State.COUNT_IN:
            if self._click.is_early(pitch, at_s):
                out += self._drop(TOO_SOON, Event.OVER)
                self._click.plan(at_s)
                return tuple(out)
            if self._click.is_before_window(at_s):
                return tuple(out)
        follower = self._ear.follower
        heard = follower.key_down(pitch, velocity, at_s)
        if self.is_finished:
            if not any(isinstance(one, Begun) for one in heard):
                return ()
            out += self._move(Event.GO_ON)
        out += self._hear(heard, at_s)
        has_turned = self._ear.follower is not follower
        if has_turned and _begins_another(heard) and not self._click.is_wanted:
            # It ended a repetition and began one of the next window.
            out += self._hear(self._ear.follower.key_down(pitch, velocity, at_s), at_s)
        return tuple(out)

    def key_up(self, pitch: int, at_s: float) -> tuple[Outcome, ...]:
        """A key was released."""
        self._ear.follower.key_up(pitch, at_s)
        return ()

    def pedal(self, controller: int, value: int, at_s: float) -> tuple[Outcome, ...]:
        """A pedal moved."""
        self._ear.follower.pedal(controller, value, at_s)
        return ()

    def tick(self, now_s: float) -> tuple[Outcome, ...]:
        """Time passed: silence ends a repetition, and a click begins or runs out."""
        if self.state in (State.NO_PIANO, State.RESTING, State.FINISHED):
            return ()
        out = self._hear(self._ear.follower.tick(now_s), now_s)
        if self._click.is_due(now_s):
            out = (*out, *self._start_click(now_s))
        if self.state is State.COUNT_IN and self._click.has_run_out(now_s):
            self._click.stop()
            out = (*out, *self._move(Event.CLICK_RUNS_OUT))
        return out

    def repetition(
        self, notes: Sequence[PlayedNote], *, now_s: float = 0.0, click_s: float | None = None
    ) -> RepetitionEnded:
        """Judge a whole repetition of the present assignment, and decide: the headless way.

        ``now_s`` is when it ended (for breaks and for tomorrow); ``click_s`` when the window's
        first grid beat was clicked, None where no click ran.
        """
        ended = self._judge(Take(tuple(notes)), now_s, click_s)
        if ended.decision.changed:
            self._ear.set_up(self.assignment)
        return ended

    # -- what is asked for ------------------------------------------------------------------

    def ask(self, request: Request, now_s: float) -> tuple[Outcome, ...]:
        """The pianist asks for something else; the repetition in hand is set aside."""
        out = self._drop("You asked for something else.", Event.OVER)
        self.coach.ask(request, now_s + self._epoch_s)
        return (*out, *self._given_anew(now_s))

    def change_plan(self, row: int, change: PlanChange, now_s: float) -> tuple[Outcome, ...]:
        """The pianist moves a row of ``coach.plan()``, leaves it out, or takes it up again.

        The last outcome is :class:`PlanChanged`, with what was done or why it can't be; before it
        comes a new assignment, where there is one. See ``Coach.change_plan``.
        """
        return self._replanned(self.coach.change_plan(row, change), now_s)

    def reorder(self, order: Order, now_s: float) -> tuple[Outcome, ...]:
        """The pianist wants the bars in another order; outcomes as of :meth:`change_plan`."""
        return self._replanned(self.coach.reorder(order), now_s)

    def _replanned(self, said: str, now_s: float) -> tuple[Outcome, ...]:
        self.goal = self.coach.goal
        if not self.decision.changed and not self._can_go_on:
            return (PlanChanged(said),)
        out = self._drop("You changed the plan.", Event.OVER)
        return (*out, *self._given_anew(now_s), PlanChanged(said))

    @property
    def _can_go_on(self) -> bool:
        return self.state is State.FINISHED and not self.decision.finished

    def _given_anew(self, now_s: float) -> tuple[Outcome, ...]:
        self._ear.set_up(self.assignment)
        out = self._move(Event.GO_ON) if self.state is State.FINISHED else []
        return (*out, self._given(now_s))

    def pause(self, now_s: float) -> tuple[Outcome, ...]:
        """Rest; the repetition in hand is set aside."""
        if self.state in (State.RESTING, State.NO_PIANO, State.FINISHED):
            return ()
        return tuple(self._drop("You paused.", Event.PAUSE))

    def resume(self, now_s: float) -> tuple[Outcome, ...]:
        """Go on after a pause, or past the goal."""
        if self.state not in (State.RESTING, State.FINISHED):
            return ()
        return (*self._move(Event.GO_ON), self._given(now_s))

    def piano_lost(self, now_s: float) -> tuple[Outcome, ...]:
        """The piano vanished: the repetition in hand is set aside, nothing else is lost."""
        if self.state is State.NO_PIANO:
            return ()
        return tuple(self._drop("The piano was unplugged.", Event.PIANO_LOST))

    def piano_found(self, now_s: float) -> tuple[Outcome, ...]:
        """The piano is there (again)."""
        if self.state is not State.NO_PIANO:
            return ()
        out = self._move(Event.PIANO_FOUND)
        if self.decision.finished:
            return (*out, *self._move(Event.GOAL_REACHED))
        return (*out, self._given(now_s))

    # -- inside -----------------------------------------------------------------------------

    @property
    def _click(self) -> Clicking:
        return self._ear.click

    def _given(self, now_s: float) -> AssignmentGiven:
        return AssignmentGiven(self.assignment, self.excerpt, self.decision)

    def _move(self, event: Event) -> list[Outcome]:
        before, self.state = self.state, moved(self.state, event)
        return [] if self.state is before else [StateChanged(self.state)]

    def _drop(self, reason: str, event: Event) -> list[Outcome]:
        out: list[Outcome] = []
        if self.state in (State.PLAYING, State.COUNT_IN):
            out.append(SetAside(reason))
        if event is not Event.OVER or self.state in (State.PLAYING, State.COUNT_IN):
            out += self._move(event)
        self._ear.set_up(self.assignment)
        return out

    def _hear(self, heard: Sequence[Heard], now_s: float) -> tuple[Outcome, ...]:
        out: list[Outcome] = []
        for one in heard:
            if isinstance(one, Marked):
                out.append(NoteMarked(one.note, one.label))
            elif isinstance(one, Stray):
                out.append(StrayKey(one.pitch, one.hand))
            elif isinstance(one, Begun):
                out += [*self._move(Event.FIRST_NOTE), RepetitionBegan(one.at_s)]
            elif isinstance(one, NotThis):
                out += self._not_this(one.reason, now_s)
            elif isinstance(one, Ended):
                follower = self._ear.follower
                out += self._ended(one.take, now_s)
                if self._ear.follower is not follower or self.state is State.FINISHED:
                    break  # what follows was heard by the follower of the window before
        return tuple(out)

    def _not_this(self, reason: str, now_s: float) -> list[Outcome]:
        self._click.plan(now_s)
        return [SetAside(reason), *self._move(Event.OVER)]

    def _ended(self, take: Take, now_s: float) -> list[Outcome]:
        ended = self._judge(take, now_s, self._click.window_s)
        out: list[Outcome] = [ended]
        finished = ended.decision.finished
        out += self._move(Event.GOAL_REACHED if finished else Event.OVER)
        if ended.decision.changed:
            self._ear.set_up(self.assignment)
            out.append(self._given(now_s))
        if not finished:
            self._click.plan(now_s)
        return out + [Proposed(text) for text in ended.decision.proposals]

    def _judge(self, take: Take, now_s: float, click_s: float | None) -> RepetitionEnded:
        asked, judgement = self.assignment, self._ear.judge(take, click_s)
        decision = self.coach.after(judgement, now_s + self._epoch_s)
        return RepetitionEnded(take, judgement, decision, asked)

    def _start_click(self, now_s: float) -> tuple[Outcome, ...]:
        if self.state is not State.READY:
            self._click.stop()
            return ()
        return (*self._move(Event.CLICK_STARTS), self._click.start(now_s))


def _begins_another(heard: Sequence[Heard]) -> bool:
    """Whether a repetition begins after one that ends."""
    kinds = [type(one) for one in heard]
    return Ended in kinds and Begun in kinds[kinds.index(Ended) :]
