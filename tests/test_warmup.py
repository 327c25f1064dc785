"""Tomorrow opens with today's weak spots."""

from collections.abc import Iterable
from fractions import Fraction as F

import pytest

from coach.coaching.model import Observation
from coach.coaching.planning.warmup import WeakSpot, all_fit, last_session, plan_warm_up, weak_spots
from coach.judging.model import Outcome
from coach.score.build import score_from_notes
from coach.score.model import Hands, Score
from coach.score.window import Transition

HOUR_S = 3600.0


def piece(qpm: int = 100) -> Score:
    notes = [{"pitch": 60, "onset": i, "length": 1, "hand": "LH"} for i in range(16)]
    return score_from_notes(notes, qpm=qpm)


def heard(beat: int, outcomes: str, at_s: float = 0.0) -> list[Observation]:
    """``heard(3, "x.x")``: the move to beat 3 failed, held, failed."""
    move = Transition(Hands.LEFT, F(beat - 1), F(beat))
    named = {"x": Outcome.LATE, ".": Outcome.CLEAN, "-": Outcome.NOT_REACHED}
    return [
        Observation(at_s + 10 * i, move, F(beat), Hands.TOGETHER, named[o], 80.0)
        for i, o in enumerate(outcomes)
    ]


def beats(spots: Iterable[WeakSpot]) -> list[int]:
    return [int(spot.transition.to_quarters) for spot in spots]


def test_the_worst_comes_first_and_the_mended_last() -> None:
    history = [*heard(3, "x..x.x"), *heard(5, "xx-x"), *heard(7, "xxx..."), *heard(9, "......")]
    assert beats(weak_spots(history)) == [5, 3, 7]


def test_one_slip_in_many_is_no_weak_spot() -> None:
    assert weak_spots(heard(3, ".....x....")) == ()


def test_a_failure_at_eight_in_the_evening_is_in_the_warm_up_at_seven() -> None:
    """The FSRS package would call it remembered (whole days only; see the roadmap)."""
    evening = heard(3, "xx", at_s=20 * HOUR_S)
    assert beats(item.spot for item in plan_warm_up(piece(), evening)) == [3]


def test_only_the_last_session_counts() -> None:
    history = [*heard(3, "xxx", at_s=0.0), *heard(5, "xx", at_s=10 * HOUR_S)]
    assert beats(weak_spots(history)) == [5]
    assert len(last_session(history)) == 2


def test_every_weak_spot_is_in_it_each_place_once() -> None:
    history = [one for beat in (3, 9, 12) for one in heard(beat, "xx")]
    assert beats(item.spot for item in plan_warm_up(piece(), history)) == [3, 9, 12]
    side_by_side = [one for beat in (3, 4) for one in heard(beat, "xx")]
    assert len(plan_warm_up(piece(), side_by_side)) == 1


def test_it_is_told_without_the_score_whether_there_is_time_for_all_spots() -> None:
    history = [one for beat in range(2, 16) for one in heard(beat, "xx")]
    spots = weak_spots(history)
    assert [all_fit(spots, minutes) for minutes in (1, 3, 5)] == [False, False, True]
    assert all_fit(spots[:3], 1)


@pytest.mark.parametrize("beat", [0, 1, 3, 15])
def test_a_spot_s_window_lands_on_the_note_arrived_at(beat: int) -> None:
    (spot,) = plan_warm_up(piece(), heard(beat, "xx"))
    window = spot.window
    assert window.hands is spot.spot.transition.hands
    assert window.start_quarters < window.end_quarters
    assert window.start_quarters <= beat <= window.end_quarters


def test_nothing_played_nothing_weak() -> None:
    assert plan_warm_up(piece(), []) == ()


def test_each_spot_says_why_it_comes() -> None:
    (failing,) = plan_warm_up(piece(), heard(3, "xx."))
    assert failing.reason == "Weak when you last played: it failed 2 of 3 times."
    (mended,) = plan_warm_up(piece(), heard(3, "xx..."))
    assert mended.reason.endswith("Does it still?")


def test_no_spot_is_asked_quicker_than_the_piece() -> None:
    """It was played at 80; the next day it is not begun above the tempo of the piece."""
    history = heard(3, "xx.")
    assert [one.qpm for one in plan_warm_up(piece(qpm=72), history)] == [72]
    assert [one.qpm for one in plan_warm_up(piece(qpm=96), history)] == [80]
