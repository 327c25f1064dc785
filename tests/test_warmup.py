"""A warm-up planned: each due spot in its window, why it comes, and for how many there is time."""

from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction as F

import pytest

from coach.coaching.planning import (
    DueSpot,
    WarmUpItem,
    WeakSpot,
    choose_spots,
    due_spot,
    follow_spots,
    list_due,
    plan_warm_up,
    shorten_after_away,
    why_due,
)
from coach.coaching.planning.warmup import next_turn
from coach.score.build import score_from_notes
from coach.score.model import Hands, Score
from coach.score.window import Transition
from tests.test_spots import DAY_S, HOUR_S, day_of, followed, heard


def piece(qpm: int = 100) -> Score:
    notes = [{"pitch": 60, "onset": i, "length": 1, "hand": "LH"} for i in range(16)]
    return score_from_notes(notes, qpm=qpm)


def planned(*moves: tuple[int, str], qpm: int = 100) -> tuple[WarmUpItem, ...]:
    """The warm-up of the morning after these moves were played so."""
    history = [one for beat, outcomes in moves for one in heard(beat, outcomes)]
    due = list_due(follow_spots(history, day_of), 1, DAY_S + 8 * HOUR_S)
    return plan_warm_up(piece(qpm), due, 1)


def beats(items: Iterable[WarmUpItem]) -> list[int]:
    return [int(item.spot.transition.to_quarters) for item in items]


def test_every_weak_spot_is_in_it_each_place_once() -> None:
    assert beats(planned((3, "xx"), (9, "xx"), (12, "xx"))) == [3, 9, 12]
    assert len(planned((3, "xx"), (4, "xx"))) == 1


@pytest.mark.parametrize("beat", [0, 1, 3, 15])
def test_a_spot_s_window_lands_on_the_note_arrived_at(beat: int) -> None:
    (item,) = planned((beat, "xx"))
    window = item.window
    assert window.hands is item.spot.transition.hands
    assert window.start_quarters < window.end_quarters
    assert window.start_quarters <= beat <= window.end_quarters
    assert item.around.contains(window)


def test_nothing_played_nothing_weak() -> None:
    assert planned() == ()


@pytest.mark.parametrize(
    ("days", "today", "reason"),
    [
        (("xx.",), 1, "Weak when you last played it yesterday: it failed 2 of 3 times."),
        (("xx.",), 5, "Weak when you last played it 5 days ago: it failed 2 of 3 times."),
        (
            ("xx...",),
            1,
            "Weak when you last played it yesterday: it failed 2 of 5 times, and then it held. "
            "Does it still?",
        ),
        (
            ("xx", ".", "x"),
            3,
            "Weak when you last played it yesterday: it failed the one time it was tried, for the "
            "second day.",
        ),
        (
            ("xx", ".", "x...."),
            3,
            "Weak when you last played it yesterday: it failed at the first try, for the second "
            "day, and then it held. Does it still?",
        ),
        (
            ("xx", "."),
            4,
            "A weak spot: it held on 1 day since, last played 3 days ago. Does it still hold?",
        ),
        (
            ("xx", ".", ".", "."),
            30,
            "Settled: it held on 3 days since, last played 27 days ago. Does it still hold?",
        ),
    ],
)
def test_each_spot_says_why_it_comes(days: tuple[str, ...], today: int, reason: str) -> None:
    assert why_due(followed(*days), today) == reason


def test_no_spot_is_asked_quicker_than_the_piece() -> None:
    """It was played at 80; the next day it is not begun above the tempo of the piece."""
    assert [one.qpm for one in planned((3, "xx."), qpm=72)] == [72]
    assert [one.qpm for one in planned((3, "xx."), qpm=96)] == [80]


def spots(count: int) -> list[DueSpot]:
    moves = [Transition(Hands.RIGHT, F(4 * n), F(4 * n + 1)) for n in range(count)]
    return [due_spot("a", WeakSpot(one, 2, 3, mended=False, qpm=80.0)) for one in moves]


def test_what_a_spot_takes_is_told_without_its_score() -> None:
    for item in planned((5, "xx"), (9, "xx"), (13, "xx")):
        usual = due_spot("a", replace(item.spot, qpm=item.qpm))
        assert usual.left_s == pytest.approx(item.expected_s, rel=0.25)


@pytest.mark.parametrize("minutes", [3, 5, 10, 20])
def test_as_many_spots_as_the_minutes_hold_the_worst_first(minutes: int) -> None:
    many = spots(60)
    chosen = choose_spots(many, 60.0 * minutes)
    assert chosen == list(range(len(chosen)))
    takes_s = sum(many[at].left_s for at in chosen)
    assert 60 * minutes - many[0].left_s < takes_s <= 60 * minutes


def test_one_spot_comes_in_however_little_time() -> None:
    assert choose_spots(spots(3), 5.0) == [0]


def test_after_two_weeks_away_the_list_is_short() -> None:
    many = spots(20)
    assert len(shorten_after_away(many, 100, 100 - 14)) == 5
    assert len(shorten_after_away(many, 100, 101 - 14)) == 20
    assert shorten_after_away(many, 100, 50) == many[:5]


@pytest.mark.parametrize(("share", "begins"), [(0.49, False), (0.51, True)])
def test_a_turn_is_begun_where_half_of_it_fits_into_what_is_left(
    share: float, begins: bool
) -> None:
    (due,) = spots(1)
    assert (next_turn([due], share * due.turn_s, None) is not None) is begins
