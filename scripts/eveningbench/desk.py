"""The desk of an evening: one drill after another, driven as the screen drives it."""

from __future__ import annotations

import hashlib
import json
import time
from collections import deque
from collections.abc import Callable, Sequence
from pathlib import Path
from random import Random
from typing import Any

from coach.coaching.coach import Coach
from coach.coaching.drill.drill_events import (
    AssignmentGiven,
    CountIn,
    DrillEvent,
    DrillState,
    RepetitionEnded,
    SetAside,
    ToJudge,
)
from coach.coaching.drill.warmup_drill import WarmUpDrill
from coach.coaching.model import Goal, Observation, Order, Request, Way
from coach.coaching.observations import observe_transitions
from coach.coaching.planning import (
    CLEAN,
    WarmUpItem,
    WarmUpRound,
    WeakSpot,
    dues_of,
    follow_spots,
    list_due,
    plan_warm_up,
)
from coach.coaching.serialize import goal_from_plain, goal_to_plain
from coach.drill import Drill
from coach.judging.following.begin_end import LONGEST_SILENCE_S
from coach.judging.judge import JudgingJob
from coach.judging.model import Judgement, Stage
from coach.playing.midi_events import KeyDown, KeyUp, Pedal
from coach.playing.simulated.evening import Seen
from coach.playing.simulated.gesture import Act, Do
from coach.record.calendar import day_of
from coach.score.model import Hands, Score
from coach.score.window import Transition, Window, WindowError, choose_window
from coach.screens.gc_pause import RestCollector, settle_memory
from scripts.eveningbench.pieces import paths, score_at
from scripts.eveningbench.tally import LONGEST_STEP_MS, Tally

TICK_S = 0.05
"""Twenty times a second, as the screen does."""
IDLE_S, IDLE_TICK_S = 20.0, 0.5
"""So long after the last key, where no click runs, ticks are fewer: nothing is waited for."""
EPOCH_S = 1_800_000_000.0
DAY_S = 86_400.0
WARM_UP_MIN = 5.0
ELSEWHERE_S = 0.05
"""How long a verdict takes to be asked for and to come back, beside the judging itself."""
JUDGE_S = 1.1e-5
"""How long judging takes, for each key times note: measured on takes of some 700 notes. By a
clock no evening would be the same twice."""

Hear = Callable[[DrillEvent, float], None]


class Desk:
    """A drill and the clock before it; every call of the drill is timed, and kept for a replay."""

    def __init__(self, tally: Tally, hear: Hear) -> None:
        self._tally, self._hear = tally, hear
        self.now_s = 10.0
        self._last_key_s = 0.0
        self._epoch_s = EPOCH_S
        self._click: CountIn | None = None
        self._elsewhere: deque[tuple[float, JudgingJob, Judgement]] = deque()
        """Verdicts that are being made by another process, and when each is there."""
        self._history: dict[Path, list[Observation]] = {}
        self.path, self.score = paths()[0], score_at(paths()[0])
        self.drill: Drill | WarmUpDrill
        self._rests = RestCollector()
        """Memory is collected in rests of the hands, as in the app, and in no step."""
        self.log: list[Any] = []
        """How the drill in hand was set up, and everything done with it since."""
        self._digest = hashlib.sha256()

    @property
    def digest(self) -> int:
        """Of everything done and answered so far."""
        return int.from_bytes(self._digest.digest()[:8])

    # -- what is put on it ------------------------------------------------------------------

    def open(self, random: Random) -> str:
        """Put a piece on the desk: any of them, any goal; in words."""
        self.path = random.choice(paths())
        self.score = score_at(self.path)
        known = self._history.get(self.path, ())
        if known and random.random() < 0.3:
            now_s = self.now_s + self._epoch_s
            due = list_due(follow_spots(known, day_of), day_of(now_s), now_s)
            spots = plan_warm_up(self.score, due, day_of(now_s))
            if spots:
                self._begin({"goals": [self._spot(s.window, s.qpm, s.reason) for s in spots]})
                return f"warm-up of {self.path.stem}"
        goal = any_goal(self.score, random)
        self._begin({"goals": [goal_to_plain(goal)]})
        return f"{self.path.stem} {float(goal.window.start_quarters):g}-" + (
            f"{float(goal.window.end_quarters):g} {goal.window.hands} {goal.stage} {goal.way}"
        )

    def _spot(self, window: Window, qpm: float, reason: str) -> dict[str, Any]:
        return goal_to_plain(Goal(window, qpm, clean_required=CLEAN, reason=reason))

    def _begin(self, setup: dict[str, Any]) -> None:
        setup = {"path": str(self.path), "now_s": self.now_s, "epoch_s": self._epoch_s, **setup}
        self.log = [json.loads(json.dumps(setup))]
        self.set_up(self.log[0])

    def set_up(self, setup: dict[str, Any]) -> None:
        """Make the drill, or the row of drills, of a setup."""
        self.path = Path(setup["path"])
        self.score = score_at(self.path)
        self.now_s, self._epoch_s = setup["now_s"], setup["epoch_s"]
        history, coach = tuple(self._history.get(self.path, ())), None
        if "state" in setup:
            unix_s = self.now_s + self._epoch_s
            coach = Coach.resume(self.score, setup["state"], history=history, now_s=unix_s)
            self.drill = self._drill(coach.goal, coach, self.now_s)
        else:
            goals = [goal_from_plain(goal) for goal in setup["goals"]]
            if len(goals) == 1:
                self.drill = self._drill(goals[0], None, self.now_s)
            else:
                self.drill = self._warm_up(goals)
        self._click = None
        self._elsewhere.clear()
        settle_memory()
        self._call("start", self.drill.start, self.now_s)

    def _warm_up(self, goals: Sequence[Goal]) -> WarmUpDrill:
        """The goals as spots of a warm-up of one piece."""
        spots = [
            WarmUpItem(_weak(goal), goal.window, goal.window, goal.qpm, goal.reason)
            for goal in goals
        ]
        by_window = {goal.window: goal for goal in goals}
        return WarmUpDrill(
            WarmUpRound(dues_of("piece", spots), WARM_UP_MIN),
            dict(enumerate(spots)),
            lambda spot, window, clean, at_s: self._drill(by_window[window], None, at_s),
            self.now_s,
        )

    def _drill(self, goal: Goal, coach: Coach | None, now_s: float) -> Drill:
        return Drill(
            self.score, goal, coach=coach, now_s=now_s, epoch_s=self._epoch_s, judges_elsewhere=True
        )

    # -- what is seen on it -----------------------------------------------------------------

    @property
    def is_finished(self) -> bool:
        """Whether the drill in hand has reached its goal."""
        return self.drill.state is DrillState.FINISHED

    @property
    def is_warmed_up(self) -> bool:
        """Whether a warm-up is over: after it nothing is listened for."""
        return self.is_finished and isinstance(self.drill, WarmUpDrill)

    def seen(self) -> Seen:
        """What the pianist sees now."""
        asked, excerpt = self.drill.assignment, self.drill.excerpt
        click = self._click if self.drill.state is DrillState.COUNT_IN else None
        due_s = None
        if click:
            due_s = click.first_beat_s + click.count_in_beats * click.beat_s
        return Seen(
            self.now_s, self.score, excerpt, asked.qpm, asked.stage.value, asked.click, due_s,
            self.is_finished,
        )  # fmt: skip

    def has_changed_by(self, at_s: float) -> bool:
        """Let time pass up to a moment; whether something else is asked for then."""
        asked = self.drill.assignment.to_play
        self.wait_until(at_s)
        return self.drill.assignment.to_play != asked

    # -- what is done at it -----------------------------------------------------------------

    def act(self, act: Act) -> None:
        """Let time pass up to an act, and do it."""
        self.wait_until(act.at_s)
        self.log.append(list(act))
        drill, now_s = self.drill, self.now_s
        if act.do is Do.DOWN:
            self._last_key_s = now_s
            self._call("key down", drill.hear, KeyDown(act.one, act.two, act.at_s))
        elif act.do is Do.UP:
            self._call("key up", drill.hear, KeyUp(act.one, act.at_s))
        elif act.do is Do.PEDAL:
            self._call("pedal", drill.hear, Pedal(act.one, act.two, act.at_s))
        elif act.do is Do.LOST:
            self._call("piano lost", drill.piano_lost, now_s)
        elif act.do is Do.FOUND:
            self._call("piano found", drill.piano_found, now_s)
        elif act.do is Do.PAUSE:
            self._call("pause", drill.pause, now_s)
        elif act.do is Do.RESUME:
            self._call("resume", drill.resume, now_s)
        elif act.do is Do.ASK:
            self._call("ask", drill.ask, Request(act.word), now_s)
        elif isinstance(drill, Drill):
            self._leave(drill)

    def finish(self) -> None:
        """Wait for the verdicts that are still being made."""
        while self._elsewhere:
            self.wait_until(self._elsewhere[0][0])

    def see_the_verdict(self) -> None:
        """Wait until what is in hand is over: who puts the piece away has heard what it was."""
        until_s = self.now_s + LONGEST_SILENCE_S
        while self.log and self.drill.state is DrillState.PLAYING and self.now_s < until_s:
            self.wait_until(self.now_s + TICK_S)
        self.finish()

    def _leave(self, drill: Drill) -> None:
        """Close the piece, and open it again tomorrow where it was left."""
        self.finish()
        self._epoch_s += DAY_S
        self._begin({"state": drill.coach.state()})

    def wait_until(self, at_s: float) -> None:
        """Time passes, with ticks as the screen gives them."""
        while self.now_s < at_s:
            quiet_s = self.now_s - self._last_key_s
            clicks = self.drill.assignment.click
            step_s = TICK_S if quiet_s < IDLE_S or clicks else IDLE_TICK_S
            self.now_s = min(self.now_s + step_s, at_s)
            while self._elsewhere and self._elsewhere[0][0] <= self.now_s:
                _, job, judgement = self._elsewhere.popleft()
                self._call("verdict", self.drill.take_verdict, job, judgement, self.now_s)
            self._call("tick", self.drill.tick, self.now_s)
            self._rests.tick(self.now_s, self._last_key_s or None)

    def _call(self, what: str, method: Callable[..., tuple[DrillEvent, ...]], *given: Any) -> None:
        started_s = time.thread_time()
        outcomes = method(*given)
        ms = (time.thread_time() - started_s) * 1000
        tally = self._tally
        tally.steps += 1
        if ms > LONGEST_STEP_MS:
            tally.slow_steps += 1
        if ms > tally.longest_ms:
            tally.longest_ms = ms
            tally.longest_what = (
                f"{what}, {self.path.stem}, {len(self.drill.excerpt.notes)} notes"
                f"{', verdict' if any(isinstance(o, RepetitionEnded) for o in outcomes) else ''}"
            )
        for outcome in outcomes:
            self._digest.update(f"{self.now_s!r} {what}: {_in_words(outcome)}\n".encode())
            if isinstance(outcome, CountIn):
                self._click = outcome
            elif isinstance(outcome, ToJudge):
                due_s = self.now_s + ELSEWHERE_S + JUDGE_S * outcome.job.size
                self._elsewhere.append((due_s, outcome.job, outcome.job.judge()))
            elif isinstance(outcome, RepetitionEnded):
                heard = observe_transitions(outcome.judgement, self.now_s + self._epoch_s)
                kept = self._history.setdefault(self.path, [])
                kept += heard
                del kept[:-2000]
            self._hear(outcome, self.now_s)


def _in_words(outcome: DrillEvent) -> str:
    """An outcome without the notes: sets of their marks are printed in any order."""
    if isinstance(outcome, AssignmentGiven):
        return str(outcome.assignment)
    if isinstance(outcome, RepetitionEnded):
        judgement = outcome.judgement
        return f"{judgement.sentence} {judgement.transitions} {judgement.faults}"
    if isinstance(outcome, SetAside):
        return outcome.reason
    return f"{outcome.job.size} to judge" if isinstance(outcome, ToJudge) else str(outcome)


def any_goal(score: Score, random: Random) -> Goal:
    """Any goal that a pianist may set: some bars, some hands, some tempo."""
    count = random.choice((1, 2, 2, 4, 4, 8, 16, len(score.bars)))
    for _ in range(20):
        first = random.randrange(max(len(score.bars) - count, 0) + 1)
        last = min(first + count, len(score.bars)) - 1
        hands = random.choice(("both", "both", "both", "rh", "lh"))
        try:
            window = choose_window(score, bars=f"#{first + 1}-#{last + 1}", hands=hands)
        except WindowError:
            continue
        qpm = score.tempo_at(window.start_quarters) * random.uniform(0.4, 1.0)
        stages = [Stage.RHYTHM] * 6 + [Stage.NOTES, Stage.PULSE, Stage.TEMPO, Stage.SHAPE]
        return Goal(
            window,
            round(max(qpm, 20.0)),
            random.choice(stages),
            random.choice((1, 2, 3, 3, 5)),
            random.choice((Way.REPAIR, Way.LEARN)),
            random.choice(list(Order)),
            random.random() < 0.15,
        )
    return Goal(Window(score.bars[0].onset_quarters, score.end_quarters, Hands.TOGETHER), 60.0)


def _weak(goal: Goal) -> WeakSpot:
    window = goal.window
    move = Transition(window.hands, window.start_quarters, window.end_quarters)
    return WeakSpot(move, 2, 3, mended=False, qpm=goal.qpm)
