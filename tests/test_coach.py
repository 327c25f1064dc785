"""The coach hears judgements and leads to the trouble and back."""

from dataclasses import replace
from fractions import Fraction as F

import pytest

from coach.coaching.coach import Coach
from coach.coaching.model import Assignment, Decision, Goal, Observation, Request
from coach.judging.model import Judgement, Outcome, TransitionResult
from coach.score.build import score_from_notes
from coach.score.model import Hands, Score
from coach.score.window import Window, excerpt
from tests.lessons import Lesson, tempo_of


def four_bars() -> Score:
    notes = [
        {"pitch": 60 + k % 5 - 24 * (hand == "LH"), "onset": k, "length": 1, "hand": hand}
        for k in range(16)
        for hand in ("RH", "LH")
    ]
    return score_from_notes(notes)


def heard(score: Score, assignment: Assignment, *failed: tuple[F | int | str, ...]) -> Judgement:
    """A judgement of what was asked for; ``failed`` are (hands, beat arrived at)."""
    ex = excerpt(score, assignment.window)
    results = tuple(
        TransitionResult(
            t, Outcome.WRONG if (t.hands.value, t.to_quarters) in failed else Outcome.CLEAN
        )
        for t in ex.transitions
    )
    clean = all(r.outcome is Outcome.CLEAN for r in results)
    return Judgement(
        ex, assignment.stage, (), (), assignment.qpm, results, (), clean, True, False, ""
    )


@pytest.fixture
def score() -> Score:
    return four_bars()


@pytest.fixture
def coach(score: Score) -> Coach:
    return Coach(score, Goal(Window(F(0), F(16)), 96.0))


def play(coach: Coach, score: Score, *failed: tuple[str, int], at_s: float = 0.0) -> Decision:
    return coach.observe_and_decide(heard(score, coach.decision.assignment, *failed), at_s)


def test_a_reading_that_is_not_sure_leaves_the_clean_run_as_it_is(
    coach: Coach, score: Score
) -> None:
    play(coach, score)
    slipped = heard(score, coach.decision.assignment, ("LH", F(2)))
    in_doubt = replace(
        slipped,
        unsure=True,
        transitions=tuple(
            replace(one, outcome=Outcome.NOT_REACHED) if one.outcome is Outcome.WRONG else one
            for one in slipped.transitions
        ),
    )
    all_right = replace(heard(score, coach.decision.assignment), unsure=True)
    for judged in (in_doubt, all_right):
        assert coach.observe_and_decide(judged, 20.0).clean_run == 1
    failed_anyhow = replace(slipped, unsure=True)
    assert coach.observe_and_decide(failed_anyhow, 40.0).clean_run == 0


def test_what_was_no_repetition_changes_nothing(coach: Coach, score: Score) -> None:
    play(coach, score)
    before, believed = coach.decision, coach.state()
    judged = heard(score, coach.decision.assignment, ("LH", F(2)))
    after = coach.observe_and_decide(replace(judged, is_repetition=False), 20.0)
    assert (after.assignment, after.clean_run) == (before.assignment, 1)
    assert not after.changed
    assert coach.state() == believed


def test_what_was_brought_to_be_repaired_and_never_broke_is_clean_five_times(
    coach: Coach, score: Score
) -> None:
    """A place that fails in six of ten and heals meanwhile is clean three times in one of eight."""
    said = [play(coach, score) for _ in range(5)]
    assert [decision.finished for decision in said] == [False] * 4 + [True]
    assert said[2].assignment.reason == "Nothing broke yet: twice more, to be sure."
    assert (said[2].clean_run, said[2].assignment.clean_required) == (3, 5)
    assert (said[-1].trouble, said[-1].assignment.reason) == (None, "")


@pytest.mark.parametrize(
    "goal",
    [
        Goal(Window(F(0), F(16)), 96.0, reason="Weak yesterday."),
        Goal(Window(F(0), F(16)), 96.0, clean_required=2),
    ],
    ids=["a weak spot of before", "who set fewer"],
)
def test_where_nothing_is_looked_for_as_many_are_enough_as_were_set(
    score: Score, goal: Goal
) -> None:
    coach = Coach(score, goal)
    said = [play(coach, score).finished for _ in range(goal.clean_required)]
    assert said == [False] * (goal.clean_required - 1) + [True]


def test_what_was_heard_often_on_other_days_is_clean_three_times(score: Score) -> None:
    goal = Goal(Window(F(0), F(16)), 96.0)
    before = Coach(score, goal)
    history: list[Observation] = []
    for day in range(3):
        play(before, score, at_s=60.0 * day)
        history += before.observed
    coach = Coach(score, goal, history=history, now_s=300.0)
    assert [play(coach, score, at_s=360.0).finished for _ in range(3)] == [False, False, True]


@pytest.mark.parametrize(
    ("beat", "reason", "rest"),
    [
        (4, "Is there another place? Once from bar 2 beat 1 on.", (4, 12)),
        (9, "Is there another place? Once up to bar 3 beat 2.", (0, 8)),
    ],
)
def test_beside_a_place_that_broke_twice_running_more_is_heard_before_it_is_mended(
    score: Score, beat: int, reason: str, rest: tuple[int, int]
) -> None:
    """While the one is mended the other isn't heard; all of it would be the same a third time."""
    coach = Coach(score, Goal(Window(F(0), F(12)), 96.0))
    asked = [play(coach, score, ("LH", beat)).assignment for _ in range(4)]
    assert asked[1].reason == reason
    assert (asked[1].window.start_quarters, asked[1].window.end_quarters) == tuple(map(F, rest))
    assert asked[1].clean_required == 1
    assert asked[2].reason == "All of it once more: is there another place?"
    assert (asked[3].window.hands, asked[3].window.end_quarters) == (Hands.LEFT, F(beat))


def test_no_more_is_heard_where_too_little_lies_beside_the_place(score: Score) -> None:
    coach = Coach(score, Goal(Window(F(0), F(4)), 96.0))
    for _ in range(2):
        asked = play(coach, score, ("LH", 3)).assignment
    assert asked.reason.startswith("LH bar 1, beat 3 → 4: at ")


def test_more_than_enough_is_offered_once_and_not_forced(coach: Coach, score: Score) -> None:
    said = [play(coach, score).proposals for _ in range(7)]
    assert [bool(offers) for offers in said] == [False] * 4 + [True, False, False]


def test_an_unclean_repetition_after_the_goal_takes_it_back(coach: Coach, score: Score) -> None:
    for _ in range(5):
        play(coach, score)
    assert not play(coach, score, ("LH", 6)).finished


def test_asking_for_more_after_the_goal_goes_on(coach: Coach, score: Score) -> None:
    for _ in range(5):
        play(coach, score)
    assert not coach.ask(Request.OTHER_HAND, 0.0).finished
    assert not play(coach, score).finished


def test_a_move_that_keeps_failing_is_named_and_drilled_in_its_hand(
    coach: Coach, score: Score
) -> None:
    for _ in range(2):
        decision = play(coach, score, ("LH", 6))
    assert decision.trouble is not None
    assert decision.trouble.transition.to_quarters == 6
    asked = [play(coach, score, ("LH", 6)).assignment.window for _ in range(3)]
    drilled = [window for window in asked if window.hands is Hands.LEFT]
    assert drilled
    assert drilled[0].end_quarters == 6


def test_the_pianist_is_in_charge(coach: Coach) -> None:
    slower = coach.ask(Request.SLOWER, 0.0)
    assert tempo_of(slower.assignment) < 96
    smaller = coach.ask(Request.SMALLER, 0.0)
    assert smaller.assignment.window.end_quarters - smaller.assignment.window.start_quarters < 16


@pytest.mark.parametrize(
    ("request_", "says"),
    [
        (Request.LARGER, "all that you set out to play"),
        (Request.OTHER_HAND, "Only this hand"),
        (Request.NEXT, "nothing after this"),
    ],
)
def test_a_wish_that_changes_nothing_is_answered_with_why(
    score: Score, request_: Request, says: str
) -> None:
    coach = Coach(score, Goal(Window(F(0), F(16), Hands.LEFT), 96.0))
    before = coach.decision.assignment
    after = coach.ask(request_, 0.0).assignment
    assert (after.window, after.qpm) == (before.window, before.qpm)
    assert says in after.reason


def test_the_answer_to_a_wish_stands_until_the_next_repetition() -> None:
    lesson = Lesson()
    lesson.drill.ask(Request.LARGER, 0.0)
    assert "all that you set out to play" in lesson.asked.reason
    assert lesson.plays().decision.assignment.reason.startswith("It held")


def test_smaller_ends_at_the_smallest_window_and_says_so(coach: Coach) -> None:
    for _ in range(10):
        before, after = coach.decision.assignment, coach.ask(Request.SMALLER, 0.0).assignment
    assert after.window == before.window
    assert "as small as it gets" in after.reason


def test_there_is_no_tempo_to_change_at_one_s_own_pace(score: Score) -> None:
    coach = Coach(score, Goal(Window(F(0), F(16)), 96.0, own_pace=True))
    assert "own pace" in coach.ask(Request.FASTER, 0.0).assignment.reason


def test_what_is_asked_for_says_where_one_stands(coach: Coach, score: Score) -> None:
    first = coach.decision.assignment.reason
    assert first.startswith("Play it as you would")
    said = [play(coach, score).assignment.reason for _ in range(2)]
    assert said == ["It held: twice more like that.", "It held: once more like that."]
    coach.observe(heard(score, coach.decision.assignment, ("LH", F(2))), 0.0)
    assert coach.decision.assignment.reason == first
