"""What comes back every time is meant; what comes now and then is a hesitation."""

import json
from fractions import Fraction as F

import pytest

from coach.judging.judge import judge
from coach.judging.timing.habits import Habits, modified_z
from coach.score.model import Hand, Hands
from coach.score.window import Excerpt, Window, excerpt
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


def test_what_is_meant_is_still_meant_on_another_day() -> None:
    habits = history([0.4] * 6)
    again = Habits.from_plain(json.loads(json.dumps(habits.to_plain())))
    assert judge(WINDOW, play(WINDOW, late=after(WINDOW, F(2), 0.4)), habits=again).clean
    assert not judge(WINDOW, play(WINDOW, late=after(WINDOW, F(2), 0.9)), habits=again).clean
    assert again.pace_qpm(None) == habits.pace_qpm(None)


def test_of_many_repetitions_the_last_are_kept_for_another_day() -> None:
    place = F(2), Hand.RIGHT
    many = Habits(errors_ms={place: tuple(map(float, range(20)))}, stops=(F(3),))
    again = Habits.from_plain(many.to_plain())
    assert again.errors_ms[place] == tuple(map(float, range(12, 20)))
    assert again.stops == ()


@pytest.mark.outside
def test_the_same_lateness_every_time_is_meant() -> None:
    """van Vugt, Jabusch & Altenmueller 2012: systematic against non-systematic."""
    habits = history([0.4] * 6)
    take = judge(WINDOW, play(WINDOW, late=after(WINDOW, F(2), 0.4)), habits=habits)
    assert take.clean
    assert not judge(WINDOW, play(WINDOW, late=after(WINDOW, F(2), 0.4))).clean


def test_twice_the_length_every_time_is_a_misreading() -> None:
    habits = history([0.25] * 6)
    take = judge(WINDOW, play(WINDOW, late=after(WINDOW, F(2), 0.25)), habits=habits)
    assert [fault.cause for fault in take.faults] == ["misread value"]


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


def known(*played_qpm: float, qpm: float = 60.0) -> Habits:
    """Habits after even repetitions of the whole where a tempo was asked for: two in it, else as
    they were played."""
    habits = Habits()
    for own_qpm in played_qpm or (qpm, qpm):
        habits = habits.with_(judge(WINDOW, play(WINDOW, qpm=own_qpm), qpm=qpm), qpm)
    return habits


def first_notes(count: int) -> Excerpt:
    """The first eighths of the right hand alone."""
    return excerpt(both(), Window(F(0), F(count - 1, 2), Hands.RIGHT))


@pytest.mark.parametrize("count", [2, 3])
def test_in_two_or_three_notes_a_hesitation_is_heard_by_the_tempo_kept_before(count: int) -> None:
    window = first_notes(count)
    take = play(window, qpm=60, late=after(window, F(count - 1, 2), 0.25))
    judged = judge(window, take, qpm=60, habits=known())
    assert [fault.cause for fault in judged.faults] == ["hesitation"]


def test_two_notes_alone_may_have_any_tempo() -> None:
    window = first_notes(2)
    assert judge(window, play(window, qpm=60, late=after(window, F(1, 2), 0.25)), qpm=60).clean


def test_of_one_whose_tempo_changes_two_notes_as_slow_as_before_are_no_hesitation() -> None:
    window, habits = first_notes(2), known(70.0, 36.0, 60.0, 75.0, 66.0)
    assert judge(window, play(window, qpm=40), qpm=60, habits=habits).clean
    far_slower = judge(window, play(window, qpm=22), qpm=60, habits=habits)
    assert [fault.cause for fault in far_slower.faults] == ["hesitation"]


def test_three_notes_that_are_all_slow_are_no_hesitation() -> None:
    window = first_notes(3)
    assert judge(window, play(window, qpm=45), qpm=60, habits=known()).clean


def test_the_tempo_kept_goes_along_with_the_tempo_asked_for() -> None:
    habits = known(qpm=66.0)
    assert habits.pace_qpm(66.0) == pytest.approx(66.0, rel=1e-3)
    assert habits.pace_qpm(33.0) == pytest.approx(33.0, rel=1e-3)
    assert habits.pace_qpm(None) is None
    assert Habits().pace_qpm(60.0) is None


def test_a_window_of_a_few_notes_teaches_no_habits() -> None:
    window = first_notes(4)
    habits = Habits().with_(judge(window, play(window)), 60.0)
    assert (dict(habits.errors_ms), habits.paces) == ({}, ())


def test_a_breath_that_comes_only_now_and_then_is_not_how_the_phrase_is_played() -> None:
    often, seldom = history([0.25, 0, 0.25, 0.25, 0.25, 0.25]), history([0.25, 0, 0, 0.25, 0.25])
    assert not often.goes_on(F(2), Hand.RIGHT, 50)
    assert seldom.goes_on(F(2), Hand.RIGHT, 50)
