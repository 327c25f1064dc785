"""Forgetting by FSRS-6, against the package that its authors publish.

``fsrs`` 6.3.2 (https://github.com/open-spaced-repetition/py-fsrs, MIT): its code, and the vectors
of its own tests/test_basic.py (commit 3abe686). It counts whole days; ours counts hours too.
"""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import fsrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.coaching.planning.memory import DAY_S, WEIGHTS, Grade, Memory, first_memory

pytestmark = pytest.mark.outside

START = datetime(2026, 1, 1, 12, tzinfo=UTC)


def reviewed(grades: list[Grade], gaps: list[int]) -> Memory:
    """Played with these grades, so many days after each other."""
    memory = first_memory(grades[0], 0.0)
    at_s = 0.0
    for grade, gap in zip(grades[1:], gaps, strict=True):
        at_s += gap * DAY_S
        memory = memory.after(grade, at_s)
    return memory


def by_the_package(grades: list[Grade], gaps: list[int]) -> fsrs.Card:
    scheduler = fsrs.Scheduler(enable_fuzzing=False)
    card, at = fsrs.Card(), START
    for grade, gap in zip(grades, [0, *gaps], strict=True):
        at += timedelta(days=gap)
        card, _ = scheduler.review_card(card, fsrs.Rating(int(grade)), at)
    return card


def test_the_weights_are_the_package_s() -> None:
    assert fsrs.Scheduler().parameters == WEIGHTS


@given(
    st.lists(st.tuples(st.sampled_from(list(Grade)), st.integers(0, 400)), min_size=1, max_size=12)
)
def test_stability_and_difficulty_are_the_package_s(days: list[tuple[Grade, int]]) -> None:
    grades, gaps = [grade for grade, _ in days], [gap for _, gap in days[1:]]
    ours, theirs = reviewed(grades, gaps), by_the_package(grades, gaps)
    assert ours.stability_days == pytest.approx(theirs.stability, rel=1e-6)
    assert ours.difficulty == pytest.approx(theirs.difficulty, rel=1e-6)


def test_the_package_s_own_memory_state() -> None:
    """test_memo_state: Again, then five times Good at 0, 0, 1, 3, 8 and 21 days."""
    gaps = [0, 1, 3, 8, 21]
    memory = reviewed([Grade.FORGOTTEN] + [Grade.GOOD] * 5, gaps)
    assert memory.stability_days == pytest.approx(53.62691, abs=1e-4)
    assert memory.difficulty == pytest.approx(6.3574867, abs=1e-4)


def test_the_package_s_own_intervals() -> None:
    """test_review_card: the days from one review to the next, each at its due day."""
    grades = [Grade.GOOD] * 6 + [Grade.FORGOTTEN] * 2 + [Grade.GOOD] * 5
    published = [0, 2, 11, 46, 163, 498, 0, 0, 2, 4, 7, 12, 21]
    memory = first_memory(grades[0], 0.0)
    at_s, found = 0.0, [0]
    for grade, before in zip(grades[1:], published, strict=False):
        at_s += before * DAY_S
        memory = memory.after(grade, at_s)
        found.append(0 if grade is Grade.FORGOTTEN else max(1, round(memory.days_until(0.9))))
    assert found == published


def test_retrievability_at_shares_of_the_stability() -> None:
    memory = Memory(10.0, 5.0, 0.0)
    told = {0.5: 0.940344, 1: 0.9, 2: 0.845885, 5: 0.760528, 10: 0.692827, 30: 0.590633}
    for share, chance in told.items():
        assert memory.chance(share * 10 * DAY_S) == pytest.approx(chance, abs=1e-6)


@pytest.mark.parametrize(
    ("grade", "stability", "difficulty", "after_a_day"),
    [
        (Grade.FORGOTTEN, 0.212, 6.4133, 0.766196),
        (Grade.HARD, 1.2931, 5.112171, 0.916670),
        (Grade.GOOD, 2.3065, 2.118104, 0.946847),
        (Grade.EASY, 8.2956, 1.0, 0.982923),
    ],
)
def test_the_first_day(
    grade: Grade, stability: float, difficulty: float, after_a_day: float
) -> None:
    memory = first_memory(grade, 0.0)
    assert memory.stability_days == stability
    assert memory.difficulty == pytest.approx(difficulty, abs=1e-6)
    assert memory.chance(DAY_S) == pytest.approx(after_a_day, abs=1e-6)


@pytest.mark.parametrize(
    ("chance", "days"),
    [
        (0.8, (0.703, 4.2879, 7.6483, 27.5079)),
        (0.95, (0.0853, 0.5205, 0.9285, 3.3395)),
    ],
)
def test_days_until_a_chance_is_left(chance: float, days: tuple[float, ...]) -> None:
    for grade, expected in zip(Grade, days, strict=True):
        assert first_memory(grade, 0.0).days_until(chance) == pytest.approx(expected, abs=1e-4)


def test_hours_count_where_the_package_sees_none() -> None:
    """From eight in the evening to seven: to the package nothing is forgotten."""
    hours = 11
    card = by_the_package([Grade.FORGOTTEN], [])
    assert fsrs.Scheduler().get_card_retrievability(card, START + timedelta(hours=hours)) == 1.0
    ours = [first_memory(Grade.FORGOTTEN, 0.0).chance(h * 3600.0) for h in (0, hours, 23, 24)]
    assert all(later < before for before, later in pairwise(ours))
    assert ours[1] == pytest.approx((1 + 0.9803464944 * hours / 24 / 0.212) ** -0.1542, rel=1e-6)
