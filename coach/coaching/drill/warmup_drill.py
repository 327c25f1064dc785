"""One piece's part of a warm-up, behaving as a drill: spot after spot, without a hand for it.

A spot's turn is over when it holds, or after so many tries; then, once the hands have rested, the
next one comes by itself. Where that is in another piece, :class:`MovedOn` says so.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from coach.coaching.drill.drill import Drill
from coach.coaching.drill.drill_events import (
    AssignmentGiven,
    DrillEvent,
    DrillState,
    MovedOn,
    Proposed,
    RepetitionEnded,
    SetAside,
    StateChanged,
)
from coach.coaching.model import Assignment, Decision, Request
from coach.coaching.planning import (
    CLEAN,
    CLEAN_AGAIN,
    MOST_TRIES,
    RowState,
    Turn,
    WarmUpItem,
    WarmUpRound,
)
from coach.coaching.wording import ENOUGH, NOT_NOW, NOTHING_TO_WARM_UP, STILL_HOLDS
from coach.judging.judge import JudgingJob
from coach.judging.model import Judgement
from coach.playing.midi_events import KeyDown, KeyEvent
from coach.score.window import Excerpt, Window

REST_S = 3.0
"""A silence after which the next spot comes. Own choice: time to read the verdict and lift the
hands, and too short to wonder whether anything will come."""

MakeDrill = Callable[[WarmUpItem, Window, int, float], Drill]
"""Makes the drill of one window of a spot: so many clean ones, from a time on."""


class WarmUpDrill:
    """Behaves as a :class:`Drill`. ``spots`` are this piece's, by their places in the round."""

    def __init__(
        self,
        round_: WarmUpRound,
        spots: Mapping[int, WarmUpItem],
        make: MakeDrill,
        now_s: float,
    ) -> None:
        """Raises ValueError where the round has nothing (more) of this piece."""
        self.round, self._spots, self._make = round_, spots, make
        self._drills: dict[Turn, Drill] = {}
        self._tries, self._why_over = 0, ""
        self._is_over = self._is_done = self._moves_on = False
        self._last_key_s = self._now_s = now_s
        if round_.turn is None:
            round_.choose(now_s)
        if round_.now not in spots:
            raise ValueError(NOTHING_TO_WARM_UP)
        self.drill = self._present(now_s)

    @property
    def state(self) -> DrillState:
        """Where the present drill stands."""
        if self._is_done and self.drill.state is not DrillState.NO_PIANO:
            return DrillState.FINISHED
        return DrillState.READY if self.drill.state is DrillState.FINISHED else self.drill.state

    @property
    def decision(self) -> Decision:
        """What the coach decided last; finished once the whole warm-up is."""
        return replace(self._told(self.drill.decision), finished=self._is_done)

    @property
    def assignment(self) -> Assignment:
        """What is to be played now."""
        return self.drill.assignment

    @property
    def excerpt(self) -> Excerpt:
        """The notes of the present window."""
        return self.drill.excerpt

    @property
    def reached(self) -> Fraction | None:
        """The onset that the player has reached; None where nothing is played."""
        return self.drill.reached

    @property
    def states(self) -> tuple[RowState, ...]:
        """What became of each of this piece's spots, in order."""
        return tuple(self._state(at) for at in self._spots)

    @property
    def what_remains(self) -> str:
        """``3 of 7 hold, about 6 minutes``; empty once it is over."""
        return "" if self._is_done else self.round.describe_rest(self._now_s)

    def _state(self, at: int) -> RowState:
        due = self.round.dues[at]
        if at == self.round.now:
            return RowState.NOW
        if due.left_out:
            return RowState.LEFT_OUT
        return RowState.HELD if due.held else RowState.TO_COME

    # -- as a drill -------------------------------------------------------------------------

    def start(self, now_s: float) -> tuple[DrillEvent, ...]:
        """Show the first assignment."""
        return self.drill.start(now_s)

    def hear(self, event: KeyEvent) -> tuple[DrillEvent, ...]:
        """A key was struck or released, or a pedal moved."""
        if isinstance(event, KeyDown):
            if self._is_done:
                return ()
            self.round.begin(event.at_s)
            self._last_key_s = self._now_s = event.at_s
        return self._on(self.drill.hear(event))

    def tick(self, now_s: float) -> tuple[DrillEvent, ...]:
        """Time passed: after a rest the next spot comes."""
        self._now_s = now_s
        if self._is_done or self._moves_on:
            return ()
        out = self._on(self.drill.tick(now_s))
        rests = self.drill.state in (DrillState.READY, DrillState.FINISHED)
        if not (self._is_over and rests and now_s - self._last_key_s >= REST_S):
            return out
        if self.drill.waits_for() or not self.drill.hands_are_off(now_s):
            return out
        return out + self._next(now_s)

    def take_verdict(
        self, job: JudgingJob, judgement: Judgement, now_s: float
    ) -> tuple[DrillEvent, ...]:
        """The verdict on a repetition that was given out to be judged."""
        for drill in self._drills.values():
            if drill is not self.drill and drill.waits_for(job):
                return _late(drill.take_verdict(job, judgement, now_s))
        return self._on(self.drill.take_verdict(job, judgement, now_s))

    def piano_lost(self, now_s: float) -> tuple[DrillEvent, ...]:
        """The piano vanished."""
        return self._on(self.drill.piano_lost(now_s))

    def piano_found(self, now_s: float) -> tuple[DrillEvent, ...]:
        """The piano is there."""
        self._last_key_s = now_s
        return self._on(self.drill.piano_found(now_s))

    def ask(self, request: Request, now_s: float) -> tuple[DrillEvent, ...]:
        """The pianist's wish; "next" and "not this" leave this spot for good."""
        if self._is_done:
            return ()
        if request in (Request.NEXT, Request.NOT_THIS) and self.round.now is not None:
            self.round.leave_out(self.round.now)
            return (*self.drill.set_aside(), *self._next(now_s))
        self._is_over = False  # whoever asks for something of it goes on with it
        self._tries, self.drill.stands_still = 0, False
        return self._on(self.drill.ask(request, now_s))

    def foresee(self, request: Request) -> Excerpt:
        """What would be asked for upon a wish for another window of this spot."""
        return self.drill.foresee(request)

    def pause(self, now_s: float) -> tuple[DrillEvent, ...]:
        """Rest."""
        return () if self._is_done else self.drill.pause(now_s)

    def resume(self, now_s: float) -> tuple[DrillEvent, ...]:
        """Go on."""
        self._last_key_s = now_s
        return () if self._is_done else self._on(self.drill.resume(now_s))

    # -- from turn to turn ------------------------------------------------------------------

    def _on(self, outcomes: Sequence[DrillEvent]) -> tuple[DrillEvent, ...]:
        """Count the tries; what is said at a goal is kept back, for it is not the end yet."""
        if self._is_done:  # late verdicts, and the piano's coming and going
            moves = any(isinstance(one, StateChanged) for one in outcomes)
            return (*_late(outcomes), *((StateChanged(self.state),) if moves else ()))
        shown: list[DrillEvent] = []
        for one in outcomes:
            if isinstance(one, RepetitionEnded):
                self._tries += 1
                reached = one.decision.finished and one.judgement.clean
                self._is_over = self._is_over or reached or self._tries >= self._most_tries
                one = replace(one, decision=self._told(one.decision))
            if one == Proposed(ENOUGH):
                continue
            if one == StateChanged(DrillState.FINISHED):
                shown.append(StateChanged(DrillState.READY))
                continue
            shown.append(one)
        self.drill.stands_still = self._is_over
        return tuple(shown)

    def _told(self, decision: Decision) -> Decision:
        """What is said once a turn is over: not what the coach would ask for next, for that does
        not come now."""
        if not self._is_over:
            return decision
        reason = self._why_over or (STILL_HOLDS if decision.finished else NOT_NOW)
        return replace(decision, assignment=replace(decision.assignment, reason=reason), note="")

    def _next(self, now_s: float) -> tuple[DrillEvent, ...]:
        """The next turn: in this piece, in another, or none."""
        if self.round.turn is not None:
            self.round.over(now_s, held=self.drill.decision.finished)
            self.drill.pause(now_s)
        due = self.round.choose(now_s)
        if due is None:
            return self._end(now_s)
        assert self.round.now is not None
        if self.round.now in self._spots:
            return self._turn_to(now_s)
        if not self.round.is_ready(due.piece) or self.round.dues[self.round.now].left_out:
            self.round.turn = None  # it is being opened, or is gone: look again
            return ()
        self._moves_on = True
        return (MovedOn(),)

    def _turn_to(self, now_s: float) -> tuple[DrillEvent, ...]:
        self._tries, self._is_over = 0, False
        is_silent = self.drill.state is DrillState.NO_PIANO
        self.drill = self._present(now_s)
        self.drill.stands_still = False
        if is_silent:
            self.drill.piano_lost(now_s)
        else:
            self.drill.piano_found(now_s)
        if self.drill.state is DrillState.RESTING:
            self.drill.resume(now_s)
        given = AssignmentGiven(self.assignment, self.excerpt, self.decision)
        return (StateChanged(self.state), given)

    def _present(self, now_s: float) -> Drill:
        """The drill of the round's present turn; as it was left, where it had one before."""
        turn = self.round.turn
        assert turn is not None
        drill = self._drills.get(turn)
        if drill is None:
            item = self._spots[turn.at]
            clean = CLEAN_AGAIN if turn.is_again else CLEAN
            drill = self._make(item, item.windows[turn.window], clean, now_s)
            self._drills[turn] = drill
        return drill

    @property
    def _most_tries(self) -> int:
        turn = self.round.turn
        return CLEAN_AGAIN if turn and turn.is_again else MOST_TRIES

    def _end(self, now_s: float) -> tuple[DrillEvent, ...]:
        self._is_done = self._is_over = True
        self._why_over = self.round.why_over(now_s)
        return (StateChanged(self.state), Proposed(self._why_over))


def _late(outcomes: Sequence[DrillEvent]) -> tuple[DrillEvent, ...]:
    """The verdicts on what was given out to be judged."""
    return tuple(
        one
        for one in outcomes
        if isinstance(one, RepetitionEnded) or (isinstance(one, SetAside) and one.job is not None)
    )
