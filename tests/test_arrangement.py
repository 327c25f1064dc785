"""The plan is the pianist's: moved, left out, taken up again, kept, and taken up another day."""

from fractions import Fraction as F

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.coaching.coach import Coach
from coach.coaching.drill.drill_events import (
    AssignmentGiven,
    DrillState,
    PlanChanged,
    RepetitionEnded,
)
from coach.coaching.model import AssignmentKind, Goal, Order, PlanChange, Request, Way
from coach.coaching.planning.plan import RowState
from coach.drill import Drill, played, score_from_notes
from coach.score.model import Score
from coach.score.window import Window


def piece(bars: int = 3) -> Score:
    """Leaps of two octaves in both hands: so hard that bars are read one by one."""
    notes = [
        {"pitch": 72 + k % 5 + 24 * (k % 2) - 36 * (hand == "LH"), "onset": F(k, 2),
         "length": F(1, 2), "hand": hand}
        for k in range(8 * bars)
        for hand in ("RH", "LH")
    ]  # fmt: skip
    return score_from_notes(notes, qpm=90)


def learning(bars: int = 3, way: Way = Way.LEARN) -> Coach:
    score = piece(bars)
    return Coach(score, Goal(Window(F(0), score.end_quarters), 90.0, way=way))


def whats(coach: Coach) -> list[str]:
    return [row.what for row in coach.plan()]


def states(coach: Coach) -> list[RowState]:
    return [row.state for row in coach.plan()]


def repetition(drill: Drill) -> RepetitionEnded:
    pace_s = 60 / (drill.assignment.qpm or 60)
    keys = [(n.pitch, 64, float(n.onset_quarters) * pace_s, 0.5) for n in drill.excerpt.notes]
    return drill.repetition(played(keys))


def holding_the_first_row(drill: Drill) -> None:
    while drill.coach.plan()[0].state != "held":
        repetition(drill)


def test_a_row_moved_to_the_front_is_played_now() -> None:
    coach = learning()
    assert coach.change_plan(1, PlanChange.EARLIER) == (
        "Bar 2, first reading before bar 1, first reading."
    )
    assert coach.decision.assignment.window.start_quarters == 4
    assert states(coach)[:2] == ["now", "to come"]


def test_a_row_moved_later_waits_its_turn() -> None:
    coach = learning()
    first, second = whats(coach)[:2]
    coach.change_plan(0, PlanChange.LATER)
    assert whats(coach)[:2] == [second, first]
    assert coach.decision.changed


@pytest.mark.parametrize(
    ("at", "change", "says"),
    [
        (0, PlanChange.EARLIER, "comes first already"),
        (-1, PlanChange.LATER, "comes last already"),
        (0, PlanChange.TAKE_UP, "is on the plan already"),
    ],
)
def test_a_change_that_cannot_be_made_says_why_and_changes_nothing(
    at: int, change: PlanChange, says: str
) -> None:
    coach = learning()
    before = coach.plan()
    assert says in coach.change_plan(at % len(before), change)
    assert coach.plan() == before
    assert not coach.decision.changed


def test_a_row_that_is_not_there_raises() -> None:
    with pytest.raises(IndexError):
        learning().change_plan(99, PlanChange.LATER)


def test_what_is_left_out_is_passed_over_and_can_be_taken_up_again() -> None:
    coach = learning()
    coach.change_plan(0, PlanChange.LEAVE_OUT)
    assert states(coach)[:2] == ["left out", "now"]
    coach.change_plan(0, PlanChange.TAKE_UP)
    assert states(coach)[:2] == ["now", "to come"]


def test_the_last_thing_to_play_cannot_be_left_out() -> None:
    coach = learning(1)
    for row in range(len(coach.plan())):
        said = coach.change_plan(row, PlanChange.LEAVE_OUT)
    assert said == "It is the only thing left to play, so it stays."
    assert states(coach)[-1] == "now"


def test_what_is_held_can_be_taken_up_to_be_played_once_more() -> None:
    drill = Drill(piece(), learning().goal)
    holding_the_first_row(drill)
    drill.coach.change_plan(0, PlanChange.TAKE_UP)
    assert states(drill.coach)[0] == "now"
    assert drill.decision.clean_run == 0
    holding_the_first_row(drill)
    assert states(drill.coach)[:2] == ["held", "now"]


def test_a_row_moves_past_what_is_held() -> None:
    drill = Drill(piece(), learning().goal)
    holding_the_first_row(drill)
    assert "comes first already" in drill.coach.change_plan(1, PlanChange.EARLIER)


def test_a_row_that_was_begun_goes_on_where_it_was_left() -> None:
    drill = Drill(piece(), learning().goal)
    while drill.coach.plan()[-1].state != "now":
        repetition(drill)
    repetition(drill)
    repetition(drill)
    drill.coach.change_plan(0, PlanChange.TAKE_UP)
    repetition(drill)
    assert drill.coach.plan()[-1].state == "now"
    assert drill.decision.clean_run == 1


def test_bars_in_another_order_keep_what_is_held() -> None:
    drill = Drill(piece(), learning().goal)
    holding_the_first_row(drill)
    assert drill.coach.reorder(Order.FROM_END) == "From now on: from the end."
    rows = {row.what: row.state for row in drill.coach.plan()}
    assert rows["bar 1, first reading"] == "held"
    assert whats(drill.coach)[0].startswith("bar 3")
    assert states(drill.coach)[0] == "now"


def test_what_was_read_in_one_need_not_be_read_bar_by_bar() -> None:
    easy = score_from_notes(
        [{"pitch": 72 + k % 5, "onset": k, "length": 1, "hand": "RH"} for k in range(12)], qpm=90
    )
    drill = Drill(easy, Goal(Window(F(0), F(12)), 90.0, way=Way.LEARN))
    assert whats(drill.coach) == ["bars 1 to 3, first reading", "bars 1 to 3"]
    repetition(drill)
    drill.coach.reorder(Order.FROM_END)
    rows = {row.what: row.state for row in drill.coach.plan()}
    assert rows["bar 2, first reading"] == "held"
    assert rows["bars 1 to 3"] == "now"


def test_what_was_taken_apart_stays_so_in_another_order() -> None:
    coach = learning()
    coach.ask(Request.HARD, 0.0)
    assert whats(coach)[:2] == ["bar 1, right hand alone", "bar 1, left hand alone"]
    coach.reorder(Order.FROM_END)
    assert "bar 1, left hand alone" in whats(coach)
    assert whats(coach)[0] == "bar 3, first reading"


def test_known_music_has_one_task_and_says_so() -> None:
    assert "one task only" in learning(way=Way.REPAIR).reorder(Order.FROM_END)


def test_the_pianist_s_plan_is_taken_up_again_another_day() -> None:
    coach = learning()
    coach.reorder(Order.HARD_FIRST)
    coach.change_plan(1, PlanChange.EARLIER)
    coach.change_plan(2, PlanChange.LEAVE_OUT)
    again = Coach.resume(coach.score, coach.state())
    assert again.plan() == coach.plan()
    assert again.decision.assignment.window == coach.decision.assignment.window


def test_a_plan_of_another_piece_is_refused() -> None:
    coach = learning()
    state = coach.state()
    state["plan"]["order"].pop()
    with pytest.raises(ValueError, match="another plan"):
        Coach.resume(coach.score, state)


def test_the_drill_gives_the_new_assignment_and_says_what_was_done() -> None:
    drill = Drill(piece(), learning().goal)
    drill.start(0.0)
    given, said = drill.change_plan(1, PlanChange.EARLIER, 1.0)
    assert isinstance(given, AssignmentGiven)
    assert given.assignment.window.start_quarters == 4
    assert isinstance(said, PlanChanged)
    assert drill.reorder(Order.FORWARD, 2.0)[-1] == PlanChanged("From now on: in order.")


def test_a_change_further_down_leaves_the_repetition_in_hand_alone() -> None:
    drill = Drill(piece(), learning().goal)
    drill.start(0.0)
    drill.key_down(drill.excerpt.notes[0].pitch, 64, 1.0)
    out = drill.change_plan(3, PlanChange.LATER, 1.2)
    assert [type(one) for one in out] == [PlanChanged]
    assert drill.state is DrillState.PLAYING


def test_taking_up_a_row_after_the_goal_goes_on_from_there() -> None:
    drill = Drill(piece(1), learning(1).goal)
    drill.start(0.0)
    at_s = 1.0
    while not drill.decision.finished:
        quarter_s = 60 / (drill.assignment.qpm or 90)
        for note in drill.excerpt.notes:
            drill.key_down(note.pitch, 64, at_s + float(note.onset_quarters) * quarter_s)
        at_s += quarter_s * 4
        for _ in range(100):
            at_s += 0.1
            drill.tick(at_s)
    drill.change_plan(0, PlanChange.TAKE_UP, at_s)
    assert drill.state is DrillState.READY
    assert not drill.decision.finished


@pytest.mark.property
@settings(deadline=None, max_examples=25)
@given(
    st.lists(
        st.one_of(
            st.tuples(st.integers(0, 9), st.sampled_from(PlanChange)),
            st.sampled_from(Order),
            st.sampled_from((Request.NEXT, Request.HARD)),
        ),
        max_size=12,
    )
)
def test_whatever_is_changed_nothing_is_lost_and_the_first_open_row_is_now(
    changes: list[Order | Request | tuple[int, PlanChange]],
) -> None:
    coach = learning(3)
    everything = sorted(whats(coach))
    for change in changes:
        if isinstance(change, Order):
            coach.reorder(change)
            everything = sorted(whats(coach))
        elif isinstance(change, Request):
            coach.ask(change, 0.0)
            everything = sorted(whats(coach))
        else:
            coach.change_plan(change[0] % len(everything), change[1])
        assert sorted(whats(coach)) == everything
        still = [state for state in states(coach) if state != "left out"]
        assert still[0] == "now"
        assert "now" not in still[1:]
        now = next(row for row in coach.plan() if row.state == "now")
        asked = coach.decision.assignment
        if asked.kind is not AssignmentKind.OTHER_WAY:  # hard, and nothing left to take apart
            assert coach.decision.assignment.window == now.window
    again = Coach.resume(coach.score, coach.state())
    assert again.plan() == coach.plan()
