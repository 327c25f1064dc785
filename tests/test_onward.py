"""What comes once a goal is reached."""

from fractions import Fraction as F

import pytest

from coach.coaching.model import Goal
from coach.coaching.planning.plan import find_next_goal
from coach.coaching.wording import stretch_words
from coach.score.build import score_from_notes
from coach.score.model import Hands, Score
from coach.score.window import choose_window
from tests.screenfakes import note, two_hands

SCORE = two_hands(5)


def after(
    bars: str | None, score: Score = SCORE, hands: str = "both", qpm: float = 80.0
) -> str | None:
    goal = find_next_goal(score, Goal(choose_window(score, bars=bars, hands=hands), qpm))
    return stretch_words(score, goal.window) if goal else None


@pytest.mark.parametrize(
    ("bars", "next_bars"),
    [
        ("1-2", "bars 3 to 4"),
        ("1", "bar 2"),
        ("3-4", "bar 5"),
        ("4-5", "bars 1 to 5"),
        (None, None),
    ],
)
def test_as_many_bars_again_and_after_the_last_the_whole_and_nothing_after_that(
    bars: str | None, next_bars: str | None
) -> None:
    assert after(bars) == next_bars


def test_the_hands_and_the_share_of_the_piece_s_tempo_stay() -> None:
    window = choose_window(SCORE, bars="1-2", hands="rh")
    goal = find_next_goal(SCORE, Goal(window, 60.0, clean_required=5))
    assert goal is not None
    assert (goal.window.hands, goal.qpm, goal.clean_required) == (Hands.RIGHT, 60.0, 5)


def test_bars_in_which_the_hand_rests_are_passed_over() -> None:
    tune = [note(60, 4 * bar, 4) for bar in range(4)]
    score = score_from_notes([*tune, note(48, 0, 4, "LH"), note(48, 12, 4, "LH")])
    assert after("1", score, "lh") == "bar 4"


def test_beats_of_a_bar_go_on_with_the_bar_after() -> None:
    window = choose_window(SCORE, bars="2", beats="2-3")
    goal = find_next_goal(SCORE, Goal(window, 80.0))
    assert goal is not None
    assert goal.window.start_quarters == F(8)
