"""The drill in any order of events: it never raises, and keeps its own rules.

The rules are those of ``scripts.fuzz_drill.Watched``: every repetition that is begun ends once,
nothing is asked for anew under the hands, every change of state is one of the table.
"""

from __future__ import annotations

from fractions import Fraction as F
from random import Random

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule, run_state_machine_as_test

from coach.coaching.drill import drill as drill_module
from coach.coaching.drill.drill import Drill
from coach.coaching.drill.drill_events import AssignmentGiven, DrillState, RepetitionBegan
from coach.coaching.model import Goal, Request, Way
from coach.judging.model import Stage
from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from coach.score.model import Score
from coach.score.window import Window
from scripts.fuzz_drill import Watched, change_plan, make_warm_up, play, run_round
from scripts.judge_material import sample_scores

pytestmark = pytest.mark.property


def row(keys: list[int], each: F = F(1), hand: str = "RH") -> list[dict[str, object]]:
    return [{"pitch": p, "onset": i * each, "length": each, "hand": hand} for i, p in
            enumerate(keys)]  # fmt: skip


SCORES = (
    score_from_notes(row([60, 62, 64, 65, 67, 65, 64, 62])),
    score_from_notes([*row([72, 71, 72, 74], F(1)), *row([48, 55], F(2), "LH")], qpm=72),
    score_from_notes(row([60, 60, 60, 60, 60, 62])),
    score_from_notes([*row([67, 69, 71] * 2, F(1, 3)), *row([43, 43], F(1), "LH")], metre="2/4"),
)
"""A scale; both hands; one key again and again; triplets against quarters."""


class DrillMachine(RuleBasedStateMachine):
    """Whatever may happen to a drill, in any order."""

    watched: Watched

    @initialize(
        score=st.sampled_from(SCORES),
        stage=st.sampled_from([Stage.NOTES, Stage.RHYTHM, Stage.PULSE, Stage.TEMPO]),
        own_pace=st.booleans(),
        required=st.integers(1, 2),
        way=st.sampled_from(Way),
        elsewhere=st.booleans(),
        warms_up=st.booleans(),
        seed=st.integers(0, 99),
    )
    def begin(
        self, score: Score, stage: Stage, own_pace: bool, required: int, way: Way,
        elsewhere: bool, warms_up: bool, seed: int,
    ) -> None:  # fmt: skip
        whole = Window(F(0), score.end_quarters)
        goal = Goal(whole, 100.0, stage, required, way, own_pace=own_pace)
        warm_up = make_warm_up(Random(seed), score, elsewhere=elsewhere)
        self.watched = Watched(
            warm_up if warms_up else Drill(score, goal, judges_elsewhere=elsewhere)
        )
        self.watched.start()

    @rule(pitch=st.sampled_from([36, 48, 55, 60, 62, 64, 65, 67, 71, 72, 100]),
          velocity=st.integers(1, 127))  # fmt: skip
    def key(self, pitch: int, velocity: int) -> None:
        self.watched.key(pitch, velocity)

    @rule(pitch=st.integers(36, 100))
    def key_up(self, pitch: int) -> None:
        self.watched.up(pitch)

    @rule(controller=st.sampled_from([64, 66, 67]), value=st.integers(0, 127))
    def pedal(self, controller: int, value: int) -> None:
        self.watched.pedal(controller, value)

    @rule(seconds=st.sampled_from([0.02, 0.2, 0.5, 0.9, 1.6, 3.2, 13.0, 90.0]))
    def silence(self, seconds: float) -> None:
        self.watched.wait(seconds, max(seconds / 100, 0.05))

    @rule(seed=st.integers(0, 99), first=st.integers(0, 7), count=st.integers(1, 8),
          slip=st.sampled_from([0.0, 0.0, 0.3]))  # fmt: skip
    def some_of_the_window(self, seed: int, first: int, count: int, slip: float) -> None:
        number = len(self.watched.drill.excerpt.onsets_quarters)
        first = min(first, number - 1)
        play(Random(seed), self.watched, first, first + count, slip=slip)

    @rule(seed=st.integers(0, 99))
    def the_window(self, seed: int) -> None:
        play(Random(seed), self.watched, 0, None, slip=0.0)

    @rule(request=st.sampled_from(Request))
    def ask(self, request: Request) -> None:
        self.watched.ask(request)

    @rule(seed=st.integers(0, 99))
    def replan(self, seed: int) -> None:
        change_plan(Random(seed), self.watched)

    @rule()
    def pause(self) -> None:
        self.watched.pause()

    @rule()
    def resume(self) -> None:
        self.watched.resume()

    @rule()
    def piano_lost(self) -> None:
        self.watched.lose_piano()

    @rule()
    def piano_found(self) -> None:
        self.watched.find_piano()

    @rule(at=st.integers(0, 3))
    def verdict(self, at: int) -> None:
        self.watched.judge(at)

    def teardown(self) -> None:
        if hasattr(self, "watched"):
            self.watched.finish()


@pytest.fixture
def _all_elsewhere(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(drill_module, "LARGE", 0)


@pytest.mark.usefixtures("_all_elsewhere")
def test_no_order_of_events_breaks_a_rule() -> None:
    run_state_machine_as_test(
        DrillMachine, settings=settings(max_examples=40, stateful_step_count=25, deadline=None)
    )


@pytest.mark.usefixtures("_all_elsewhere")
def test_a_few_rounds_of_the_fuzz_break_no_rule() -> None:
    samples = sample_scores()
    for number in range(4):
        run_round(5, number, samples)


def test_a_round_of_the_fuzz_is_the_same_whenever_it_is_played() -> None:
    samples = sample_scores()
    assert run_round(2, 3, samples) == run_round(2, 3, samples)


class Faulty:
    """A drill that breaks a rule."""

    def __init__(self, drill: Drill, outcomes: list[object]) -> None:
        self.drill, self.outcomes = drill, outcomes

    def __getattr__(self, name: str) -> object:
        return getattr(self.drill, name)

    def tick(self, now_s: float) -> list[object]:
        return self.outcomes


def test_the_watch_sees_a_broken_rule() -> None:
    drill = Drill(SCORES[0], Goal(Window(F(0), F(8)), 100.0))
    given = AssignmentGiven(drill.assignment, drill.excerpt, drill.decision)
    keys = [PlayedNote(note.pitch, 64, 0.6 * at) for at, note in enumerate(drill.excerpt.notes)]
    ended = drill.repetition(keys)
    for broken in ([RepetitionBegan(1.0)], [ended], [RepetitionBegan(1.0), given]):
        watched = Watched(drill)
        watched.start()
        watched.drill = Faulty(drill, list(broken))  # type: ignore[assignment]
        with pytest.raises(AssertionError):
            watched.wait(0.1)
    assert drill.state is DrillState.READY
