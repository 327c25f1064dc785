"""What comes back every time is meant; what comes now and then is a hesitation."""

from fractions import Fraction as F

import pytest

from coach.judging.habits import Habits, modified_z
from coach.judging.judge import judge
from coach.score.model import Hand
from tests.judging_help import after, both, play, whole

WINDOW = whole(both())


@pytest.mark.outside
def test_modified_z_scores() -> None:
    """Iglewicz & Hoaglin 1993; vector worked through by hand with numpy."""
    values = [2.1, 2.6, 2.4, 2.5, 2.3, 2.1, 2.3, 2.6, 8.2, 8.3]
    expected = [-1.574, 0.674, -0.225, 0.225, -0.674, -1.574, -0.674, 0.674, 25.856, 26.305]
    assert [modified_z(v, values) for v in values] == pytest.approx(expected, abs=0.001)


def history(sizes: list[float]) -> Habits:
    """Habits after repetitions with a pause of each size before beat 3."""
    habits = Habits()
    for size in sizes:
        habits = habits.with_(judge(WINDOW, play(WINDOW, late=after(WINDOW, F(2), size))))
    return habits


@pytest.mark.outside
def test_the_same_lateness_every_time_is_meant() -> None:
    """van Vugt, Jabusch & Altenmueller 2012: systematic against non-systematic."""
    habits = history([0.25] * 6)
    take = judge(WINDOW, play(WINDOW, late=after(WINDOW, F(2), 0.25)), habits=habits)
    assert take.clean
    assert not judge(WINDOW, play(WINDOW, late=after(WINDOW, F(2), 0.25))).clean


@pytest.mark.outside
def test_late_in_three_of_ten_is_a_hesitation() -> None:
    """Design figure: +150 ms in 3 of 10 repetitions is flagged, each time."""
    habits = history([0, 0, 0.15, 0, 0, 0.15, 0, 0, 0])
    take = judge(WINDOW, play(WINDOW, late=after(WINDOW, F(2), 0.15)), habits=habits)
    assert [fault.cause for fault in take.faults] == ["hesitation"]


def test_a_constant_25_ms_is_never_a_hesitation() -> None:
    habits = history([0.025] * 9)
    assert judge(WINDOW, play(WINDOW, late=after(WINDOW, F(2), 0.025)), habits=habits).clean


def test_habits_know_nothing_from_less_than_five() -> None:
    habits = history([0.25] * 4)
    assert habits.history(F(2), Hand.RIGHT) is None
    assert not judge(WINDOW, play(WINDOW, late=after(WINDOW, F(2), 0.25)), habits=habits).clean
