"""Closing and opening again: the window, the tempo and the clean run are there."""

import json

import pytest

from coach.coaching.coach import Coach
from coach.coaching.drill.drill_events import RepetitionEnded
from coach.coaching.model import Exercise, Request
from coach.drill import Drill, played, repair, score_from_notes, window
from coach.score.model import Score


def piece() -> Score:
    right = [{"pitch": 72 + i % 5, "onset": i, "length": 1, "hand": "RH"} for i in range(16)]
    left = [{"pitch": 48 + i % 4, "onset": i, "length": 1, "hand": "LH"} for i in range(16)]
    return score_from_notes([*right, *left], qpm=100)


def repetition(drill: Drill, wrong_at: int | None = None) -> RepetitionEnded:
    pace_s = 60 / (drill.assignment.qpm or 100)
    keys = [
        (
            n.pitch + (n.onset_quarters == wrong_at and n.hand == "LH"),
            64,
            float(n.onset_quarters) * pace_s,
            0.5,
        )
        for n in drill.excerpt.notes
    ]
    return drill.repetition(played(keys))


def reopened(drill: Drill) -> Drill:
    state = json.loads(json.dumps(drill.coach.state()))
    coach = Coach.resume(drill.score, state)
    return Drill(drill.score, coach.goal, coach=coach)


@pytest.mark.parametrize("faults", [[], [None], [6], [6, 6], [6, 6, None, 6, None, None]])
def test_a_drill_goes_on_where_it_stopped(faults: list[int | None]) -> None:
    score = piece()
    drill = Drill(score, repair(score, window(score), qpm=100))
    for wrong_at in faults:
        repetition(drill, wrong_at)
    again = reopened(drill)
    before, after = drill.assignment, again.assignment
    assert (after.window, after.qpm, after.clean_required) == (
        before.window,
        before.qpm,
        before.clean_required,
    )
    assert again.decision.clean_run == drill.decision.clean_run
    assert again.goal == drill.goal


def test_a_resumed_drill_can_be_finished() -> None:
    score = piece()
    drill = Drill(score, repair(score, window(score), qpm=100))
    repetition(drill)
    again = reopened(drill)
    for _ in range(3):
        assert not repetition(again).decision.finished
    assert repetition(again).decision.finished


@pytest.mark.parametrize(
    "state", [{}, {"format": 0}, {"format": 2}, {"format": 2, "goal": {}, "work": {}}]
)
def test_a_state_of_another_version_is_refused(state: dict[str, object]) -> None:
    with pytest.raises((KeyError, TypeError, ValueError)):
        Coach.resume(piece(), state)


def test_how_a_place_was_practised_is_known_another_day_and_another_way_comes_first() -> None:
    score = piece()
    drill = Drill(score, repair(score, window(score), qpm=100))
    while drill.coach._runner.exercise is None:
        repetition(drill, 6)
    first = drill.coach._runner.exercise
    again = reopened(drill)
    ways: list[Exercise] = []
    while not ways:
        repetition(again, 6)
        ways += [again.coach._runner.exercise] if again.coach._runner.exercise else []
    assert ways != [first]
    assert reopened(again).coach.state()["works"] == again.coach.state()["works"]


def test_that_a_place_is_hard_is_known_another_day() -> None:
    score = piece()
    drill = Drill(score, repair(score, window(score), qpm=100))
    repetition(drill, 6)
    drill.coach.ask(Request.HARD, 0.0)
    again = reopened(drill)
    assert [work["is_hard"] for _, work in again.coach.state()["works"]] == [True]
