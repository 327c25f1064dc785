"""Up to the tempo asked for: single marks at first, a trial now and then, never up after a slip."""

from fractions import Fraction as F
from itertools import pairwise

import pytest

from coach.coaching.model import Assignment, AssignmentKind
from coach.coaching.practice.tempo import MARKS, quicker
from tests.lessons import QPM, Lesson, Weak, tempo_of

BEAT = F(1)

Step = tuple[Assignment, bool]
"""What was asked for, and whether it was clean."""


def asked_for(lesson: Lesson, most: int = 60) -> list[Step]:
    """Every assignment of a lesson up to the goal, with whether it was played clean."""
    out = []
    for _ in range(most):
        asked, ended = lesson.asked, lesson.plays()
        if asked.kind is not AssignmentKind.OTHER_WAY:
            out.append((asked, ended.judgement.clean))
        if ended.decision.finished:
            break
    return out


@pytest.fixture(scope="module")
def lessons() -> list[list[Step]]:
    """One place fails above a tempo; after twenty repetitions it can be played."""
    out = []
    for beat in (5, 6, 11):
        for above_qpm in (60.0, 72.0, 84.0):
            lesson = Lesson([Weak("LH", beat, above_qpm=above_qpm)])
            first = asked_for(lesson, 20)
            lesson.heals()
            out.append(first + asked_for(lesson))
    return out


def moves(steps: list[Step]) -> list[tuple[Assignment, bool, Assignment]]:
    """Each assignment with the one that follows it, where the window stays."""
    return [
        (one, clean, two)
        for (one, clean), (two, _) in pairwise(steps)
        if one.window == two.window and one.qpm != two.qpm
    ]


def test_the_end_is_exactly_the_tempo_asked_for(
    lessons: list[list[Step]],
) -> None:
    for steps in lessons:
        assert steps[-1][0].qpm == QPM


def test_it_is_never_quicker_than_asked_for_nor_under_half(
    lessons: list[list[Step]],
) -> None:
    for steps in lessons:
        assert all(QPM * 0.5 - 1e-6 <= tempo_of(asked) <= QPM + 1e-6 for asked, _ in steps)


def test_the_tempo_rises_only_after_a_clean_repetition(
    lessons: list[list[Step]],
) -> None:
    rises = [
        clean
        for steps in lessons
        for one, clean, two in moves(steps)
        if tempo_of(two) > tempo_of(one)
    ]
    assert rises
    assert all(rises)


def test_after_slowing_down_the_first_step_up_is_one_mark(
    lessons: list[list[Step]],
) -> None:
    """Common practice; a trial at the tempo asked for is no step."""
    first_steps = []
    for steps in lessons:
        was_slowed = False
        for one, _, two in moves(steps):
            if (
                two.kind is AssignmentKind.QUICKEN
                and one.kind is not AssignmentKind.TRIAL
                and was_slowed
            ):
                first_steps.append((tempo_of(one), tempo_of(two)))
            was_slowed = tempo_of(two) < tempo_of(one)
    assert first_steps
    assert all(after <= quicker(before, BEAT) + 1e-6 for before, after in first_steps)


def test_every_step_is_few_marks_of_the_metronome(
    lessons: list[list[Step]],
) -> None:
    for steps in lessons:
        for one, _, two in moves(steps):
            if two.kind is AssignmentKind.QUICKEN:
                between = [mark for mark in MARKS if tempo_of(one) < mark < tempo_of(two)]
                assert len(between) < 4


def test_slow_and_at_tempo_alternate(lessons: list[list[Step]]) -> None:
    """Henley (2001), JRME 49, 169-181 (read second-hand): alternating did better than slow only."""
    trials = [
        asked for steps in lessons for asked, _ in steps if asked.kind is AssignmentKind.TRIAL
    ]
    assert trials
    assert {trial.qpm for trial in trials} <= {max(tempo_of(a) for a, _ in s) for s in lessons}
    assert all(trial.clean_required == 1 for trial in trials)


def test_a_trial_that_fails_leads_back_to_what_held_or_one_mark_more(
    lessons: list[list[Step]],
) -> None:
    for steps in lessons:
        before = None
        for (one, clean), (two, _) in pairwise(steps):
            if one.kind is not AssignmentKind.TRIAL and two.kind is AssignmentKind.TRIAL:
                before = tempo_of(one)
            if one.kind is AssignmentKind.TRIAL and not clean and one.window == two.window:
                assert before is None or tempo_of(two) <= quicker(before, BEAT) + 1e-6
