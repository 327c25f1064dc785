"""Mending and joining: narrow and slow at once, wider while it holds, the tempo last."""

from fractions import Fraction as F
from itertools import pairwise

import pytest

from coach.coaching.diagnosis.evidence import Evidence
from coach.coaching.model import Assignment, AssignmentKind
from coach.coaching.practice.task import Task
from coach.coaching.practice.task_runner import TaskRunner
from coach.coaching.windows import PracticeMap
from coach.judging.model import Stage
from coach.score.model import Hands, Score
from coach.score.window import Window
from tests.lessons import QPM, Lesson, Weak, piece, tempo_of

MOST = 60

Step = tuple[Assignment, bool, bool]
"""What was asked for, whether it was clean, and whether a trouble was under repair."""


def mended(lesson: Lesson, before_it_heals: int = 14) -> list[Step]:
    """Every assignment up to the goal, with whether it was clean; the place heals on the way."""
    out = []
    for count in range(MOST):
        if count == before_it_heals:
            lesson.heals()
        asked, case = lesson.asked, lesson.drill.coach._runner.ladder
        ended = lesson.plays()
        if asked.kind is not AssignmentKind.OTHER_WAY:
            out.append((asked, ended.judgement.clean, case is not None))
        if ended.decision.finished:
            return out
    raise AssertionError("not finished")


@pytest.fixture(scope="module")
def lessons() -> list[list[Step]]:
    """A place of the left hand that fails above a tempo, and then heals."""
    practice_map = [(beat, above) for beat in (5, 6, 11) for above in (60.0, 72.0)]
    return [mended(Lesson([Weak("LH", beat, above_qpm=above)])) for beat, above in practice_map]


def test_a_named_trouble_is_mended_at_once_slower_than_it_failed(
    lessons: list[list[Step]],
) -> None:
    for steps in lessons:
        first = next(asked for asked, _, is_mending in steps if is_mending)
        assert tempo_of(first) < QPM


def test_the_tempo_is_regained_in_the_narrow_window_before_it_grows_wider(
    lessons: list[list[Step]],
) -> None:
    """It never grows wider, nor takes the other hand in, below the tempo asked for."""
    rises = 0
    for steps in lessons:
        mending = [asked for asked, _, is_mending in steps if is_mending]
        for one, two in pairwise(mending):
            grows = two.window != one.window and two.window.contains(one.window)
            assert not grows or tempo_of(one) == QPM
            rises += one.window == two.window and tempo_of(two) > tempo_of(one)
            assert two.window.hands is Hands.LEFT or tempo_of(two) == QPM
    assert rises


def test_a_tempo_that_failed_is_not_asked_for_again_before_a_slower_one_held(
    lessons: list[list[Step]],
) -> None:
    for steps in lessons:
        for (one, clean, _), (two, _, _) in pairwise(steps):
            if not clean and one.window == two.window:
                assert tempo_of(two) <= tempo_of(one)


def test_the_reason_for_a_slower_tempo_is_still_true_beside_a_clean_repetition(
    lessons: list[list[Step]],
) -> None:
    slower = {a.reason for steps in lessons for a, _, _ in steps if a.kind is AssignmentKind.SLOWER}
    assert slower
    assert all(reason.endswith("until it holds.") for reason in slower), slower


def test_a_place_that_fails_above_a_tempo_is_soon_asked_for_under_it() -> None:
    """Straight to what holds: few unclean repetitions between the naming and a clean one."""
    for above in (50.0, 60.0, 72.0, 84.0):
        lesson = Lesson([Weak("LH", 6, above_qpm=above)])
        lesson.until(lambda ended: ended.decision.trouble is not None)
        unclean = 0
        for _ in range(MOST):
            ended = lesson.plays()
            if tempo_of(lesson.asked) <= above and ended.judgement.clean:
                break
            unclean += not ended.judgement.clean
        assert unclean <= 4


def test_the_whole_is_asked_for_at_the_tempo_after_the_place_is_put_back(
    lessons: list[list[Step]],
) -> None:
    for steps in lessons:
        last, _, is_mending = steps[-1]
        assert not is_mending
        assert last.qpm == QPM
        assert last.kind is not AssignmentKind.TRIAL


def test_a_relapse_where_it_held_slower_is_one_of_tempo() -> None:
    """It never heals above 72: up it goes, breaks, and comes back slower, not narrower."""
    lesson, relapses = Lesson([Weak("LH", 6, above_qpm=72.0)]), []
    for _ in range(MOST):
        asked, case = lesson.asked, lesson.drill.coach._runner.ladder
        plain = asked.kind not in (AssignmentKind.TRIAL, AssignmentKind.OTHER_WAY)
        is_relapse = case is not None and case.held and plain
        ended = lesson.plays()
        goes_on = lesson.asked.kind is not AssignmentKind.OTHER_WAY
        goes_on = goes_on and lesson.drill.coach._runner.ladder is case
        if (
            is_relapse
            and not ended.judgement.clean
            and lesson.asked.to_play != asked.to_play
            and goes_on
        ):
            relapses.append((asked, lesson.asked))
    assert relapses
    assert all(two.window == one.window and tempo_of(two) < tempo_of(one) for one, two in relapses)


def test_a_trouble_of_both_together_that_will_not_hold_is_heard_hands_separate_again() -> None:
    """Common practice: where hands together won't come, back to each hand alone.

    The left hand's move failed only while both played, and was taken for a trouble of both
    together; then it fails alone, too.
    """
    lesson = Lesson([Weak("LH", 6, only_together=True)])
    lesson.until(lambda ended: lesson.drill.coach._runner.ladder is not None)
    case = lesson.drill.coach._runner.ladder
    assert case
    assert case.transition.hands is Hands.TOGETHER
    lesson.weak = [Weak("LH", 6)]
    asked, blamed = [], []
    for _ in range(6):
        lesson.plays()
        case = lesson.drill.coach._runner.ladder
        asked.append(lesson.asked.window.hands)
        blamed.append(case.transition.hands if case else None)
    assert asked.index(Hands.LEFT) <= 3
    assert Hands.LEFT in blamed


def test_the_whole_is_heard_three_times_before_anything_in_it_is_mended() -> None:
    """One hearing may hide a second trouble, and so may two."""
    lesson = Lesson([Weak("LH", 6)])
    whole, hearings = lesson.asked.window, 0
    while lesson.drill.coach._runner.ladder is None:
        hearings += lesson.asked.window == whole
        lesson.plays()
    assert hearings == 3


def test_a_long_whole_is_heard_once() -> None:
    lesson = Lesson([Weak("LH", 6)], score=piece(bars=16))
    whole, hearings = lesson.asked.window, 0
    while lesson.drill.coach._runner.ladder is None:
        hearings += lesson.asked.window == whole
        lesson.plays()
    assert hearings == 1


def test_a_reason_that_names_a_place_says_where_to_begin_where_that_is_before_it(
    lessons: list[list[Step]],
) -> None:
    """The window of the top line and the place of the reason differ by the run-up."""
    score = piece()
    said = [asked for steps in lessons for asked, *_ in steps if "→" in asked.reason]
    assert said
    for asked in said:
        start = score.place(asked.window.start_quarters)
        ends_with_it = _ends_as_said(score, asked)
        named = str(start) in asked.reason or f"Begin at beat {start.beat}." in asked.reason
        assert named or not ends_with_it, asked
    assert {asked.reason.split(". ")[-1] for asked in said} >= {"Begin at bar 1, beat 4."}


def _ends_as_said(score: Score, asked: Assignment) -> bool:
    """Whether the window arrives where the place of its reason does."""
    place = asked.reason.split("→ ")[1]
    end = score.place(asked.window.end_quarters)
    arrives = f"bar {end.bar_number}, beat {end.beat}" if place.startswith("bar") else str(end.beat)
    return place.startswith(arrives)


@pytest.mark.parametrize("beats", [1, 2, 3, 4])
def test_the_worst_move_of_a_window_of_any_length_is_taken_up(beats: int) -> None:
    """In one of a beat or two nothing smaller is left for both hands; one hand alone still is."""
    score = piece()
    whole = Window(F(4), F(4 + beats))
    work = TaskRunner(Task(whole, QPM, Stage.RHYTHM, 3, QPM), PracticeMap(score, whole), Evidence())
    for move in work.practice_map.transitions:
        asked = work.repair.open_worst(move, work.new_repair_tempo())
        assert whole.contains(asked.window)
        assert asked.window.hands is whole.hands or beats <= 2
