"""The coach's head: hears judgements, and says what to play next and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from copy import deepcopy
from dataclasses import replace
from fractions import Fraction
from functools import partial
from typing import Any

from coach.coaching.diagnosis import Diagnosis, diagnose, evidence_to_plain, restore_evidence
from coach.coaching.model import (
    Assignment,
    Decision,
    Goal,
    Observation,
    Order,
    PlanChange,
    Request,
    Trouble,
    Way,
)
from coach.coaching.observations import FAILED, observe_transitions
from coach.coaching.planning import (
    PARTS,
    EditablePlan,
    EditableRow,
    PlanRow,
    StepRole,
    bars_to_learn,
    begin_whole_at,
    halve,
    make_hand_first,
    make_parts,
    make_sections,
    make_step,
    make_steps,
    take_apart,
)
from coach.coaching.practice import (
    OFF_PACE,
    BreakReminder,
    LeftPlace,
    PlaceWork,
    Task,
    TaskRunner,
    follow_request,
    list_untried,
)
from coach.coaching.serialize import (
    FORMAT,
    goal_from_plain,
    goal_to_plain,
    restore_runner,
    runner_to_plain,
)
from coach.coaching.windows import PracticeMap
from coach.coaching.wording import (
    AGAIN_IN_ONE,
    AS_YOU_WOULD,
    ENOUGH,
    ENOUGH_TODAY,
    LARGER_AS_ASKED,
    LEFT,
    LEFT_ALL,
    NO_ONE_PLACE,
    ONE_TASK_ONLY,
    ORDER_CHANGED,
    SLIPS_TODAY,
    SMALLER_AS_ASKED,
    advice_words,
    as_far_as_it_goes,
    held_today_words,
    move_words,
    to_go_words,
)
from coach.judging.model import Judgement
from coach.score.model import Hands, Score
from coach.score.window import Transition, Window


class Coach:
    """Leads one pianist through one goal."""

    def __init__(
        self,
        score: Score,
        goal: Goal,
        *,
        history: Iterable[Observation] = (),
        now_s: float = 0.0,
        sums: Mapping[str, Any] | None = None,
    ) -> None:
        self.score, self.goal = score, goal
        self.practice_map = PracticeMap(score, goal.window)
        self.evidence = restore_evidence(sums, history, self._qpm, now_s)
        self._diagnosis: Diagnosis = diagnose(self.evidence, self.practice_map)
        self._plan = EditablePlan(make_steps(self.practice_map, goal))
        self._runners: dict[str, TaskRunner] = {}
        self._left: list[LeftPlace] = []
        """Places that were left for today, in that order."""
        self._works: dict[Fraction, dict[str, Any]] = {}
        """What earlier days have to tell of the work at each place, by its beat."""
        self._runner = self._runner_of_now()
        self._breaks = BreakReminder()
        self.observed: tuple[Observation, ...] = ()
        """What the last verdict said of each transition of each hand."""
        self._proposals: tuple[str, ...] = ()
        self._answer = ""
        """What is said to a wish that changed nothing, until the next repetition."""
        self._heard_for: Assignment | None = None
        """What was asked for when the last repetition was heard."""
        self._broke_last = False
        """Whether the last repetition of what is asked for now was unclean."""
        self._last_qpm: float | None = None
        """The tempo at which the last repetition was played."""
        self._undecided: bool | None = None
        """Whether the last repetition was clean, where nothing was decided upon it yet."""
        self._finished = False
        self._enough = False
        self._changed = True

    @property
    def _qpm(self) -> float | None:
        return None if self.goal.own_pace else self.goal.qpm

    def _runner_of_now(self) -> TaskRunner:
        """The runner of the plan's present row: begun, or gone on with where it was left."""
        row = self._plan.now
        what = row.step.what
        begun = self._runners.get(what)
        if begun is None or (begun.done and row.is_open):
            task = self._task_of(row)
            begun = self._runners[what] = TaskRunner(task, self.practice_map, self.evidence)
        elif begun.too_much:
            begun.begin_again(self._task_of(row))
        for beat, work in self._works.items():
            begun.repair.works.setdefault(beat, PlaceWork.from_plain(work))
        begun.locating.left_alone |= {left.transition.to_quarters for left in self._left}
        return begun

    def _task_of(self, row: EditableRow) -> Task:
        """A row's task; the whole of new music begins at the tempo at which it was read.

        Of what was taken apart, and whose parts were passed over, the full run is asked for.
        """
        read_qpm, task = self._plan.slowest_read_qpm, row.step.task
        if task.parts_held and not self._plan.parts_hold(row):
            reason = AGAIN_IN_ONE.format(name=row.step.what)
            return replace(task, parts_held=False, reason=reason)
        is_whole = row.step.kind is StepRole.WHOLE and self.goal.way is Way.LEARN
        if is_whole and not task.parts_held and read_qpm is not None and task.qpm is not None:
            return replace(task, start_qpm=begin_whole_at(self.goal, read_qpm))
        return task

    @property
    def assignment(self) -> Assignment:
        """What is asked for now. It is looked at with each tick of the clock, so it is cheap."""
        assignment, reason = self._runner.assignment, self._reason
        return assignment if assignment.reason == reason else replace(assignment, reason=reason)

    @property
    def decision(self) -> Decision:
        """What stands now."""
        return Decision(
            assignment=self.assignment,
            changed=self._changed,
            clean_run=self._runner.run.clean,
            trouble=self._trouble(),
            troubles=self._diagnosis.troubles,
            finished=self._finished,
            enough=self._enough,
            proposals=self._proposals,
            note=self._note(),
        )

    @property
    def _reason(self) -> str:
        asked, clean = self._runner.assignment, self._runner.run.clean
        if self._answer or self._finished:
            return self._answer
        if asked.reason == AS_YOU_WOULD and 0 < clean < asked.clean_required:
            return to_go_words(asked.clean_required - clean)
        return self._runner.reason_once_broken(asked) if self._broke_last else asked.reason

    def _trouble(self) -> Trouble | None:
        ladder = self._runner.ladder
        if ladder is not None:
            at_hand = [t for t in self._diagnosis.troubles if t.transition == ladder.transition]
            if at_hand:
                return at_hand[0]
        return self._diagnosis.troubles[0] if self._diagnosis.troubles else None

    def _note(self) -> str:
        if self._runner.pace_note:
            return self._runner.pace_note
        slipped = self._diagnosis.suspects or self._runner.run.failed
        had_a_place = self._diagnosis.troubles or self._runner.repair.mended_beats
        if self._finished and (mended := self._mended_today()):
            return held_today_words([move_words(self.score, move) for move in mended])
        return NO_ONE_PLACE if slipped and not had_a_place and self._runner.done else ""

    def _mended_today(self) -> list[Transition]:
        """The moves that were repaired and hold, each once, in that order."""
        runners = self._runners.values()
        return list(dict.fromkeys(move for one in runners for move in one.repair.mended))

    def observe_and_decide(
        self, judgement: Judgement, now_s: float, asked: Assignment | None = None
    ) -> Decision:
        """Take in a judged repetition and decide.

        ``asked`` is what it was played for, where that may no longer be what is asked for now: then
        it is evidence, and counts for nothing else. So does what is only a part of the window, with
        nothing wrong in it: a break tells nothing. Where it is not sure what was played, nor
        whether anything failed, the clean run stands as it is. What was no repetition changes
        nothing.
        """
        if self._take_evidence(judgement, now_s, asked):
            self._decide(judgement.clean)
        else:
            self._stop_probing_for_nothing()
        return self.decision

    def observe(
        self, judgement: Judgement, now_s: float, asked: Assignment | None = None
    ) -> Decision:
        """Take in a judged repetition, and leave the decision to the next, or to :meth:`decide`.

        What is asked for stands while the hands go on: one that went wrong may be broken off by
        beginning again.
        """
        if self._take_evidence(judgement, now_s, asked):
            self._undecided = judgement.clean
        return self.decision

    def decide(self) -> Decision:
        """Decide upon what was heard last, where that is still to be done."""
        if self._undecided is not None:
            self._proposals = ()
            self._decide(self._undecided)
        else:
            self._stop_probing_for_nothing()
        return self.decision

    def _stop_probing_for_nothing(self) -> None:
        before = self._runner.assignment
        self._runner.stop_probing_for_nothing()
        self._changed |= before.to_play != self._runner.assignment.to_play

    def _take_evidence(self, judgement: Judgement, now_s: float, asked: Assignment | None) -> bool:
        """Take in the evidence; whether the repetition counts for what is asked for now."""
        self.observed = observe_transitions(judgement, now_s)
        if not judgement.is_repetition:
            self._changed = False
            return False
        self._answer, self._broke_last = "", not judgement.clean
        self._last_qpm = judgement.qpm
        now = self._heard_for = self._runner.assignment
        asked = asked or now
        window = judgement.excerpt.window
        self.evidence.add(
            self._observed_moves(window), asked.qpm if asked.qpm is None else self._qpm
        )
        self._diagnosis = diagnose(self.evidence, self.practice_map)
        self._proposals = self._breaks.count_playing(judgement.excerpt, _played_s(judgement), now_s)
        is_of_now = asked.to_play == now.to_play
        self._changed = not is_of_now
        if not is_of_now or judgement.is_part or self._is_in_doubt(judgement):
            if is_of_now:
                self._runner.locating.count_unheard()
            return False
        self._runner.count_repetition(judgement.clean, now_s, _tempo_off(judgement, now))
        if not judgement.clean:
            self._plan.mark_held(False)
            self._finished = self._enough = False
        return True

    def _is_in_doubt(self, judgement: Judgement) -> bool:
        """It is not sure what was played, and nothing failed by every reading of it."""
        return judgement.unsure and not any(one.outcome in FAILED for one in self.observed)

    def _observed_moves(self, window: Window) -> list[Observation]:
        """What was observed of moves that were made in a window.

        Where a hand only begins there, neither that hand nor both together made the move.
        """
        begun = {
            one.transition.to_quarters
            for one in self.observed
            if self.practice_map.is_entry(one.transition, window)
        }
        return [one for one in self.observed if one.transition.to_quarters not in begun]

    def _decide(self, clean: bool) -> None:
        self._undecided = None
        before = self._heard_for or self._runner.assignment
        self._runner.choose_next(clean, self._diagnosis)
        was_done = self._finished or self._enough
        self._plan.mark_held(self._runner.done, self._last_qpm)
        if self._runner.too_much:
            self._take_apart(self._plan.now)
        gives_up = self._runner.given_up
        if gives_up:
            self._plan.leave_for_today(self._plan.now)
        if self._runner.repair.left is not None:
            self._leave_for_today(self._runner.repair.left)
        self._see_whether_done()
        self._runner = self._runner_of_now()
        if gives_up and not self._enough:
            asked = self._runner.assignment
            self._runner.assignment = replace(asked, reason=f"{LEFT_ALL} {asked.reason}")
        if not was_done:
            self._proposals += (ENOUGH,) * self._finished + (self._enough_words(),) * self._enough
        self._changed = before.to_play != self._runner.assignment.to_play
        self._broke_last &= not self._changed

    def _take_apart(self, row: EditableRow) -> None:
        """So much at once is too much. What slips here and there is got in parts; what broke in a
        reading is learnt, and then it is read again.

        Where most of a reading broke the other readings get shorter, too.
        """
        runner = self._runners[row.step.what]
        if runner.hand_first is not None:
            window = replace(runner.task.window, hands=runner.hand_first)
            qpm = runner.hand_first_qpm(window)
            step = make_hand_first(self.practice_map, self.goal, window, qpm)
            self._plan.take_hand_first(row, step)
            return
        if row.step.task.has_parts or row.step.task.is_long:
            runner.too_much, qpm = True, runner.tempo.now_qpm
            steps = make_sections(self.practice_map, self.goal, runner.task.window, qpm)
            self._plan.take_apart(row, steps)
            return
        window = row.step.task.window
        steps = take_apart(self.practice_map, self.goal, window, self._broken_bars(window))
        self._runners.pop(row.step.what, None)
        self._plan.take_apart(row, steps)
        if any(step.kind is StepRole.READ for step in steps):
            most = len(bars_to_learn(self.practice_map, window))
            for other in self._plan.open_readings():
                stretch = other.step.task.window
                if other is not row and len(bars_to_learn(self.practice_map, stretch)) >= most:
                    self._plan.take_apart(other, halve(self.practice_map, self.goal, stretch))

    def _broken_bars(self, window: Window) -> dict[Window, Hands]:
        """The bars that broke when this was played last, each with the hands that did."""
        out: dict[Window, Hands] = {}
        for bar in bars_to_learn(self.practice_map, window):
            moves = [m for m in self.practice_map.transitions if self.practice_map.covers(bar, m)]
            broke = {
                move.hands for move in moves if self.evidence.broke_lately(move, READINGS_HEARD)
            }
            if broke:
                out[bar] = broke.pop() if len(broke) == 1 else window.hands
        return out

    def _see_whether_done(self) -> None:
        self._enough = self._plan.is_left_over
        self._finished = self._plan.is_done and not self._enough

    def _leave_for_today(self, left: LeftPlace) -> None:
        """A place got no better: what it lies in is left, and the rest is played."""
        self._runner.repair.left = None
        self._left = [one for one in self._left if one.transition != left.transition] + [left]
        move = left.transition
        place = move_words(self.score, move)
        reason = LEFT.format(place=place, advice=advice_words(list_untried(left.used)))

        def is_in_it(window: Window) -> bool:
            return self.practice_map.covers(window, replace(move, hands=window.hands))

        places = [one.transition for one in self._left]
        parts = make_parts(self.practice_map, self.goal, places, reason)
        self._plan.set_aside(is_in_it, parts)

    def _enough_words(self) -> str:
        places = " and ".join(move_words(self.score, one.transition) for one in self._left)
        return ENOUGH_TODAY.format(places=places) if self._left else SLIPS_TODAY

    def plan(self) -> tuple[PlanRow, ...]:
        """The whole way to the goal, with where it stands: "now" is the first open row."""
        return self._plan.list_rows()

    def change_plan(self, row: int, change: PlanChange) -> str:
        """Move a row of :meth:`plan` (0 is the first), leave it out, or take it up again.

        Answers with one sentence: what was done, or why it can't be. What is to be played may
        change with it (:attr:`decision`): the first open row is always what is played now, and a
        row that was begun goes on where it was left. Kept and resumed with :meth:`state`. Raises
        IndexError where the plan has no such row.
        """
        before = self._runner.assignment
        said = self._plan.change(row, change)
        self._turn_to_now(before)
        return said

    def reorder(self, order: Order) -> str:
        """Make the plan anew in an order: bars as they come, from the end, or hard ones first.

        What is held stays held and what is left out stays so, where the new plan has it too; rows
        moved by hand go back to where they were. Answers with one sentence.
        """
        if self.goal.way is Way.REPAIR:
            return ONE_TASK_ONLY
        before = self._runner.assignment
        self.goal = replace(self.goal, order=order)
        plan = EditablePlan(make_steps(self.practice_map, self.goal))
        plan.adopt_states(self._plan)
        self._plan = plan
        self._turn_to_now(before)
        return ORDER_CHANGED.format(order=order)

    def _turn_to_now(self, before: Assignment) -> None:
        self._answer, self._undecided = "", None
        self._see_whether_done()
        self._runner = self._runner_of_now()
        self._changed = before.to_play != self._runner.assignment.to_play

    def ask(self, request: Request, now_s: float) -> Decision:
        """Follow the pianist's wish."""
        before, runner = self._runner.assignment, self._runner
        runner.done = self._finished = self._enough = False
        self._undecided = None
        self._plan.mark_held(False)
        if request is Request.HARD and runner.is_plain and runner.task.is_reading:
            self._take_apart(self._plan.now)
            self._runner = self._runner_of_now()
            self._changed, self._answer = True, ""
            return self.decision
        if runner.is_plain and self._change_plan_as_asked(request):
            self._runner = self._runner_of_now()
            if request in AS_ASKED_FOR:
                reason = AS_ASKED_FOR[request]
                self._runner.assignment = replace(self._runner.assignment, reason=reason)
        else:
            follow_request(runner, request)
        self._changed = before != self._runner.assignment
        self._broke_last &= not self._changed
        same = request is not Request.AGAIN and before.to_play == self._runner.assignment.to_play
        self._answer = as_far_as_it_goes(request, before.qpm) if same else ""
        if same and not runner.stays:
            self._runner.assignment = replace(self._runner.assignment, reason=before.reason)
        return self.decision

    def _change_plan_as_asked(self, request: Request) -> bool:
        """Follow a wish that is one for another row of the plan; whether it is one."""
        row, task = self._plan.now, self._runner.task
        if request in (Request.SMALLER, Request.HARD):
            nothing_broke = task.is_long and not self._runner.locating.count_last_slips()
            if nothing_broke:
                self._take_apart(row)
            return nothing_broke
        if request is Request.LARGER and row.step.kind in PARTS:
            self._plan.leave_out_sections(row)
            return True
        if request in (Request.NEXT, Request.NOT_THIS) and len(self._plan.rows) > 1:
            self._plan.leave_out(row)
            return True
        return False

    def foresee(self, request: Request) -> Assignment:
        """What would be asked for upon a wish for another window; nothing changes by it."""
        untouched = self.score, self.practice_map, self.evidence, self._diagnosis
        other = deepcopy(self, {id(one): one for one in untouched})
        return other.ask(request, 0.0).assignment

    def why(self) -> str:
        """The reason for the present assignment, with the evidence."""
        trouble = self._trouble()
        reason = self._reason
        if trouble is None or not trouble.evidence:
            return reason
        return f"{reason} {trouble.place}: {trouble.evidence}."

    def state(self) -> dict[str, Any]:
        """Where the drill stands, JSON-ready, for :meth:`resume`."""
        return {
            "format": FORMAT,
            "goal": goal_to_plain(self.goal),
            "work": runner_to_plain(self._runner),
            "row": self._plan.now.step.what,
            "left": [one.to_plain() for one in self._left],
            "works": [[str(beat), work] for beat, work in self._works_by_now().items()],
            "plan": self._plan.to_plain(),
            "evidence": evidence_to_plain(self.evidence, self._qpm),
            "undecided": self._undecided,
        }

    def _works_by_now(self) -> dict[Fraction, dict[str, Any]]:
        out = dict(self._works)
        for runner in self._runners.values():
            out |= {beat: work.to_plain() for beat, work in runner.repair.works.items()}
        return out

    @classmethod
    def resume(
        cls,
        score: Score,
        state: Mapping[str, Any],
        *,
        history: Iterable[Observation] = (),
        now_s: float = 0.0,
        today_began_s: float = 0.0,
    ) -> Coach:
        """A coach that goes on from a state; ``today_began_s`` is when the pianist's day began, as
        ``now_s`` counts: what was left since then for today stays left.

        Raises KeyError, TypeError or ValueError where the state is of another version, or of a
        window that the score does not have.
        """
        if state["format"] != FORMAT:
            raise ValueError(f"state of format {state['format']!r}, not {FORMAT}")
        goal = goal_from_plain(state["goal"])
        sums = state["evidence"]
        coach = cls(score, goal, history=history, now_s=now_s, sums=sums)
        coach._plan.restore(state["plan"], partial(make_step, coach.practice_map, goal))
        coach._runners.clear()  # its first row may be another now
        coach._works = {Fraction(beat): work for beat, work in state.get("works", ())}
        for left in map(LeftPlace.from_plain, state["left"]):
            if left.at_s >= today_began_s:  # on another day it is played again
                coach._leave_for_today(left)
        coach._runner = coach._runner_of_now()
        if state["row"] == coach._plan.now.step.what:
            restore_runner(coach._runner, state["work"], coach.practice_map)
        coach._see_whether_done()
        undecided = state.get("undecided")
        coach._undecided = None if undecided is None else bool(undecided)
        coach.decide()
        return coach


AS_ASKED_FOR = {Request.SMALLER: SMALLER_AS_ASKED, Request.LARGER: LARGER_AS_ASKED}
"""What is said of another row of the plan that was wished for."""
READINGS_HEARD = 2
"""So many readings are looked at for what broke. Common practice: twice is no slip."""
FEWEST_ONSETS = 5
"""Onsets from which a tempo can be told to such a share. Own choice: four intervals."""


def _tempo_off(judgement: Judgement, asked: Assignment) -> float | None:
    """The tempo that was played, where it is far from the one asked for."""
    played, wanted = judgement.qpm, asked.qpm
    if played is None or wanted is None or len(judgement.excerpt.onsets) < FEWEST_ONSETS:
        return None
    return None if abs(played / wanted - 1.0) <= OFF_PACE else played


def _played_s(judgement: Judgement) -> float:
    """About how long a repetition took: its notes at the tempo found."""
    notes = judgement.excerpt.notes
    quarters = float(notes[-1].onset_quarters - notes[0].onset_quarters) + 1.0
    return quarters * 60.0 / (judgement.qpm or judgement.excerpt.qpm)
