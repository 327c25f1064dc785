"""New music: read as far as it goes at sight, taken apart only where it breaks, then the whole."""

from collections.abc import Sequence
from fractions import Fraction as F

import pytest

from coach.coaching.coach import Coach
from coach.coaching.model import Goal, Order, PlanChange, Request, Way
from coach.coaching.planning.steps import (
    _step_of_bar,
    begin_whole_at,
    make_steps,
    reading_bits,
)
from coach.coaching.windows import PracticeMap
from coach.drill import Drill, learn
from coach.judging.model import Stage
from coach.score.build import score_from_notes
from coach.score.model import Hands, Score
from coach.score.window import Window
from tests.lessons import QPM, Lesson, Weak
from tests.lessons import piece as lesson_piece


def piece(bars: int = 4, pickup: int = 0, parts: int = 1) -> Score:
    """Steps in both hands, so many to a quarter."""
    notes = [
        {"pitch": 72 + k % 5 - 24 * (hand == "LH"), "onset": F(k, parts), "length": F(1, parts),
         "hand": hand}
        for k in range((4 * bars + pickup) * parts)
        for hand in ("RH", "LH")
    ]  # fmt: skip
    return score_from_notes(notes, qpm=90, pickup_quarters=pickup)


def names(score: Score, order: Order = Order.FORWARD) -> list[str]:
    window = Window(F(0), score.end_quarters)
    made = make_steps(PracticeMap(score, window), Goal(window, 90.0, way=Way.LEARN, order=order))
    return [step.what for step in made]


def lesson(*weak: Weak, bars: int = 4, pace: float = 1.0) -> Lesson:
    """New music for a pianist with these weak places, who reads at a share of the tempo."""
    score = lesson_piece(bars)
    out = Lesson(weak, score=score, own_pace_qpm=QPM * pace)
    out.drill = Drill(score, learn(score, Window(F(0), score.end_quarters), qpm=QPM))
    return out


def rows(at: Lesson) -> list[str]:
    return [row.what for row in at.drill.coach.plan()]


def weak_bars(hand: str, bars: Sequence[int]) -> list[Weak]:
    """Every beat of these bars fails."""
    return [Weak(hand, 4 * (bar - 1) + beat) for bar in bars for beat in range(1, 4)]


def test_easy_bars_are_read_four_at_a_time_and_nothing_else_is_planned() -> None:
    assert names(piece(8)) == [
        "bars 1 to 4, first reading",
        "bars 5 to 8, first reading",
        "bars 1 to 8",
    ]


def test_sixteenths_in_both_hands_are_read_bar_by_bar_and_neighbours_joined() -> None:
    assert names(piece(4, parts=4)) == [
        "bar 1, first reading",
        "bar 2, first reading",
        "bars 1 to 2 joined",
        "bar 3, first reading",
        "bar 4, first reading",
        "bars 3 to 4 joined",
        "bars 1 to 4",
    ]


def test_a_stretch_without_a_neighbour_waits_for_the_whole() -> None:
    assert names(piece(3, parts=4))[3:] == ["bar 3, first reading", "bars 1 to 3"]


@pytest.mark.parametrize("parts", [1, 2, 4])
def test_no_reading_is_longer_than_a_phrase(parts: int) -> None:
    score = piece(9, parts=parts)
    window = Window(F(0), score.end_quarters)
    for step in make_steps(PracticeMap(score, window), Goal(window, 90.0, way=Way.LEARN)):
        stretch = step.task.window
        if step.task.is_reading and "first" in step.what:
            assert stretch.end_quarters - stretch.start_quarters <= 4 * 4


def test_from_the_end_begins_with_the_last_bar() -> None:
    assert names(piece(3), order=Order.FROM_END)[0].startswith("bar 3")


def test_hard_bars_first_begins_with_the_leaps() -> None:
    notes = [{"pitch": 72, "onset": k, "length": 1, "hand": "RH"} for k in range(12)]
    notes[5]["pitch"] = 96
    assert names(score_from_notes(notes), order=Order.HARD_FIRST)[0].startswith("bar 2")


def test_a_pickup_belongs_to_its_bar() -> None:
    """Common practice."""
    score = piece(1, pickup=1)
    window = Window(F(0), score.end_quarters)
    first = make_steps(PracticeMap(score, window), Goal(window, 90.0, way=Way.LEARN))[0]
    assert (first.task.window.start_quarters, first.task.window.end_quarters) == (F(0), F(5))


def test_a_first_reading_is_in_time_hands_together_and_at_one_s_own_pace() -> None:
    asked = lesson().asked
    assert (asked.stage, asked.qpm, asked.window.hands) == (Stage.RHYTHM, None, Hands.TOGETHER)
    assert asked.clean_required == 1


def test_who_plays_all_of_it_right_is_through_eight_bars_in_six_repetitions() -> None:
    at, asked = lesson(bars=8, pace=0.8), []
    while not at.decision.finished:
        asked.append(at.asked)
        at.plays()
    whole = Window(F(0), F(32))
    assert [one.window for one in asked[2:]] == [whole] * 4
    assert [one.qpm for one in asked] == [None, None, pytest.approx(0.8 * QPM), QPM, QPM, QPM]


@pytest.mark.parametrize("clean_required", [1, 3, 5])
def test_the_whole_is_right_at_its_tempo_so_many_times_running_at_the_end(
    clean_required: int,
) -> None:
    score = lesson_piece(4)
    at = Lesson(score=score)
    whole = Window(F(0), score.end_quarters)
    at.drill = Drill(score, learn(score, whole, qpm=QPM, clean_required=clean_required))
    asked = []
    while not at.decision.finished:
        asked.append(at.asked)
        assert at.plays().judgement.clean
    assert [(one.window, one.qpm) for one in asked].count((whole, QPM)) == clean_required


@pytest.mark.parametrize(
    ("read", "begun"), [(1.2, 1.0), (1.0, 1.0), (0.93, 1.0), (0.9, 0.9), (0.3, 0.55)]
)
def test_the_whole_begins_at_the_tempo_that_it_was_read_at(read: float, begun: float) -> None:
    goal = Goal(Window(F(0), F(16)), 80.0, way=Way.LEARN)
    assert begin_whole_at(goal, 80.0 * read) == pytest.approx(80.0 * begun)


def test_one_slip_takes_nothing_apart() -> None:
    at = lesson()
    at.plays(clean=False)
    assert rows(at) == ["bars 1 to 4, first reading", "bars 1 to 4"]
    assert at.asked.reason == "Once more, slower if you like: was that a slip?"
    at.plays()
    assert at.asked.window == Window(F(0), F(16))
    assert at.asked.qpm == QPM


def test_the_hand_that_breaks_is_learnt_alone_in_its_bar_and_the_other_is_not() -> None:
    """Common practice: hands separate where it is needed, then together, then where it stands."""
    at = lesson(Weak("LH", 6))
    at.plays()
    at.plays()
    assert rows(at)[:3] == [
        "bar 2, left hand alone",
        "bar 2, hands together",
        "bars 1 to 4, first reading",
    ]
    assert at.asked.window == Window(F(4), F(8), Hands.LEFT)
    assert (at.asked.stage, at.asked.qpm) == (Stage.NOTES, None)


def test_what_holds_at_once_after_that_is_not_drilled() -> None:
    at = lesson(Weak("LH", 6))
    at.plays()
    at.plays()
    at.heals()
    asked = [at.until(lambda _: True).assignment for _ in range(4)]
    assert [(one.window.end_quarters, one.window.hands) for one in asked] == [
        (F(8), Hands.LEFT),
        (F(8), Hands.TOGETHER),
        (F(8), Hands.TOGETHER),
        (F(16), Hands.TOGETHER),
    ]
    assert at.asked.qpm is not None


def test_a_bar_that_broke_again_is_asked_for_twice() -> None:
    at = lesson(Weak("LH", 6))
    at.plays()
    at.plays()
    at.plays()
    at.heals()
    assert at.asked.clean_required == 2


def test_what_breaks_nearly_everywhere_is_read_in_shorter_stretches_and_so_is_the_rest() -> None:
    at = lesson(*weak_bars("LH", [1, 2, 3]), *weak_bars("RH", [1, 2, 3]), bars=8)
    at.plays()
    assert rows(at) == [
        "bars 1 to 2, first reading",
        "bars 3 to 4, first reading",
        "bars 1 to 4, first reading",
        "bars 5 to 6, first reading",
        "bars 7 to 8, first reading",
        "bars 5 to 8, first reading",
        "bars 1 to 8",
    ]


def test_a_bar_that_breaks_by_itself_is_learnt_and_not_read_again() -> None:
    score = piece(1)
    at = Lesson([Weak("RH", 2)], score=score)
    at.drill = drill = Drill(score, Goal(Window(F(0), F(4)), QPM, way=Way.LEARN))
    at.plays()
    at.plays()
    assert rows(at) == ["bar 1, right hand alone", "bar 1, hands together", "bar 1"]
    again = Coach.resume(score, drill.coach.state())
    assert again.plan() == drill.coach.plan()


def test_a_stretch_that_was_taken_apart_is_then_repaired_where_it_breaks() -> None:
    at = lesson(Weak("LH", 6, only_together=True))
    at.until(lambda ended: ended.decision.trouble is not None and "again" not in at.asked.reason)
    at.until(lambda _: at.decision.trouble is not None and at.asked.window != Window(F(0), F(16)))
    assert rows(at).count("bar 2, hands together") == 1


def test_this_is_hard_takes_a_reading_apart_at_once() -> None:
    at = lesson(bars=4)
    decision = at.drill.coach.ask(Request.HARD, 0.0)
    assert rows(at)[:2] == ["bars 1 to 2, first reading", "bars 3 to 4, first reading"]
    assert decision.changed
    assert decision.assignment.window == Window(F(0), F(8))


def test_clean_playing_leads_through_the_whole_plan_to_its_end() -> None:
    at = lesson(*weak_bars("LH", [2]), bars=4)
    at.plays()
    at.plays()
    at.heals()
    at.until(lambda ended: ended.decision.finished)
    assert all(row.state == "held" for row in at.drill.coach.plan())


def test_next_leaves_a_step_out_and_the_plan_shows_it() -> None:
    score = piece(8)
    coach = Coach(score, Goal(Window(F(0), F(32)), 90.0, way=Way.LEARN))
    decision = coach.ask(Request.NEXT, 0.0)
    assert decision.assignment.window == Window(F(16), F(32))
    assert [row.state for row in coach.plan()] == ["left out", "now", "to come"]


@pytest.mark.parametrize("repetitions", [0, 1, 2, 5])
def test_the_plan_is_taken_up_again_where_it_stood(repetitions: int) -> None:
    at = lesson(Weak("LH", 6), Weak("RH", 11))
    for _ in range(repetitions):
        at.plays()
    coach = at.drill.coach
    again = Coach.resume(coach.score, coach.state())
    assert again.plan() == coach.plan()
    assert again.decision.assignment.window == coach.decision.assignment.window
    assert again.decision.assignment.clean_required == coach.decision.assignment.clean_required


def test_the_tempo_of_a_reading_is_kept_for_the_whole() -> None:
    at = lesson(bars=8, pace=0.7)
    at.plays()
    again = Coach.resume(at.score, at.drill.coach.state())
    again.change_plan(1, PlanChange.LEAVE_OUT)
    assert again.decision.assignment.qpm == pytest.approx(0.7 * QPM)


@pytest.mark.parametrize(("read_qpm", "begun_qpm"), [(30.0, 55.0), (60.0, 60.0), (100.0, 100.0)])
def test_the_whole_is_never_begun_below_eleven_twentieths_of_its_tempo(
    read_qpm: float, begun_qpm: float
) -> None:
    window = Window(F(0), F(16))
    assert begin_whole_at(Goal(window, 100.0, way=Way.LEARN), read_qpm) == pytest.approx(begun_qpm)


def test_a_bar_is_learnt_from_eleven_twentieths_up_to_three_quarters_of_the_tempo() -> None:
    score = piece()
    goal = Goal(Window(F(0), score.end_quarters), 100.0, way=Way.LEARN)
    task = _step_of_bar(PracticeMap(score, goal.window), goal, Window(F(4), F(8))).task
    assert (task.start_qpm, task.qpm) == pytest.approx((55.0, 75.0))


@pytest.mark.parametrize(
    ("parts", "bits", "read"), [(1, 58.4, "bars 1 to 4"), (2, 87.2, "bars 1 to 3")]
)
def test_four_bars_are_read_at_once_and_fewer_where_they_have_more_than_a_hundred_bits(
    parts: int, bits: float, read: str
) -> None:
    """Eighths in both hands: three bars have 87 bits, four 118."""
    score = piece(bars=9, parts=parts)
    practice_map = PracticeMap(score, Window(F(0), score.end_quarters))
    assert names(score)[0] == f"{read}, first reading"
    window = Window(F(0), F(16 if parts == 1 else 12))
    assert reading_bits(practice_map, window) == pytest.approx(bits, abs=0.1)


@pytest.mark.parametrize("held", [True, False])
def test_what_was_left_for_today_is_left_no_more_once_it_is_held(held: bool) -> None:
    """Where nothing else is open, what was played last is played on."""
    plan = lesson().drill.coach._plan
    for row in plan.rows:
        row.left_today = True
    now = plan.now
    plan.mark_held(held)
    assert now.left_today is not held
