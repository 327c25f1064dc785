"""New music: bar by bar, each hand and then both, and neighbours joined before a third bar."""

from fractions import Fraction as F

import pytest

from coach.coaching.coach import Coach
from coach.coaching.model import Goal, Order, Request, Way
from coach.coaching.planning.plan import make_steps
from coach.coaching.windows import PracticeMap
from coach.drill import Drill, played
from coach.judging.model import Stage
from coach.score.build import score_from_notes
from coach.score.model import Hands, Score
from coach.score.window import Window


def piece(bars: int = 4, pickup: int = 0) -> Score:
    notes = [
        {"pitch": 72 + k % 5 - 24 * (hand == "LH"), "onset": k, "length": 1, "hand": hand}
        for k in range(4 * bars + pickup)
        for hand in ("RH", "LH")
    ]
    return score_from_notes(notes, qpm=90, pickup_quarters=pickup)


def names(score: Score, order: Order = Order.FORWARD) -> list[str]:
    window = Window(F(0), score.end_quarters)
    made = make_steps(PracticeMap(score, window), Goal(window, 90.0, way=Way.LEARN, order=order))
    return [step.what for step in made]


def test_each_bar_is_learnt_hand_by_hand_and_then_together() -> None:
    """Common practice."""
    assert names(piece(1))[:3] == [
        "bar 1, right hand alone",
        "bar 1, left hand alone",
        "bar 1, hands together",
    ]


def test_two_learnt_neighbours_are_joined_before_a_third_is_begun() -> None:
    """Common practice."""
    whats = names(piece(4))
    assert whats.index("bars 1 to 2 joined") < whats.index("bar 3, right hand alone")
    assert whats[-1] == "bars 1 to 4"


def test_from_the_end_begins_with_the_last_bar() -> None:
    assert names(piece(3), order=Order.FROM_END)[0].startswith("bar 3")


def test_hard_bars_first_begins_with_the_leaps() -> None:
    notes = [{"pitch": 72, "onset": k, "length": 1, "hand": "RH"} for k in range(12)]
    notes[5]["pitch"] = 96
    assert names(score_from_notes(notes), order=Order.HARD_FIRST)[0].startswith("bar 2")


def test_a_pickup_belongs_to_its_bar() -> None:
    """Common practice."""
    score = piece(2, pickup=1)
    window = Window(F(0), score.end_quarters)
    first = make_steps(PracticeMap(score, window), Goal(window, 90.0, way=Way.LEARN))[0]
    assert first.task.window.start_quarters == 0
    assert first.task.window.end_quarters == 5


def test_a_new_bar_begins_with_the_notes_at_one_s_own_pace() -> None:
    score = piece(2)
    coach = Coach(score, Goal(Window(F(0), F(8)), 90.0, way=Way.LEARN))
    first = coach.decision.assignment
    assert (first.stage, first.qpm, first.window.hands) == (Stage.NOTES, None, Hands.RIGHT)


def test_clean_playing_leads_through_the_whole_plan_to_its_end() -> None:
    score = piece(2)
    drill = Drill(score, Goal(Window(F(0), F(8)), 90.0, way=Way.LEARN))
    asked = []
    for _ in range(120):
        window, qpm = drill.assignment.window, drill.assignment.qpm
        asked.append((window, qpm))
        pace_s = 60 / (qpm or 60)
        keys = [(n.pitch, 64, float(n.onset_quarters) * pace_s, 0.5) for n in drill.excerpt.notes]
        if drill.repetition(played(keys)).decision.finished:
            break
    assert drill.decision.finished
    assert asked[-1] == (Window(F(0), F(8)), 90.0)
    assert all(row.state == "held" for row in drill.coach.plan())


def test_next_leaves_a_step_out_and_the_plan_shows_it() -> None:
    coach = Coach(piece(2), Goal(Window(F(0), F(8)), 90.0, way=Way.LEARN))
    decision = coach.ask(Request.NEXT, 0.0)
    assert decision.assignment.window.hands is Hands.LEFT
    assert [row.state for row in coach.plan()[:3]] == ["left out", "now", "to come"]


@pytest.mark.parametrize("steps_done", [0, 1, 3])
def test_the_plan_is_taken_up_again_where_it_stood(steps_done: int) -> None:
    score = piece(2)
    coach = Coach(score, Goal(Window(F(0), F(8)), 90.0, way=Way.LEARN))
    for _ in range(steps_done):
        coach.ask(Request.NEXT, 0.0)
    again = Coach.resume(score, coach.state())
    assert again.plan() == coach.plan()
    assert again.decision.assignment.window == coach.decision.assignment.window
