"""Moves and windows are said as a pianist finds them on the page."""

from fractions import Fraction as F

import pytest

from coach.coaching.wording import move_words, stretch_words
from coach.score.model import Hands
from coach.score.window import Transition, Window
from tests.test_places import piece

RH, LH, BOTH = Hands.RIGHT, Hands.LEFT, Hands.TOGETHER


@pytest.mark.parametrize(
    ("move", "words"),
    [
        ((LH, 5, 6), "LH bar 2, beat 2 → 3"),
        ((RH, 7, 8), "RH bar 2, beat 4 → bar 3, beat 1"),
        ((BOTH, 0, 1), "both hands bar 1, beat 1 → 2"),
    ],
)
def test_a_move(move: tuple[Hands, int, int], words: str) -> None:
    hands, start, end = move
    assert move_words(piece(), Transition(hands, F(start), F(end))) == words


@pytest.mark.parametrize(
    ("stretch", "words"),
    [
        ((0, 4), "bar 1"),
        ((4, 16), "bars 2 to 4"),
        ((5, 7), "bar 2, beats 2 to 4"),
        ((6, 9), "bar 2, beat 3 to bar 3, beat 2"),
    ],
)
def test_a_stretch(stretch: tuple[int, int], words: str) -> None:
    low, high = stretch
    assert stretch_words(piece(), Window(F(low), F(high))) == words


def test_a_stretch_from_the_pickup() -> None:
    score = piece(9, pickup=1)
    assert stretch_words(score, Window(F(0), F(1))) == "pickup"
    assert stretch_words(score, Window(F(0), F(9))) == "pickup to bar 2"


def test_a_pickup_is_counted_as_the_beat_that_it_is() -> None:
    score = piece(9, pickup=1)
    move = Transition(RH, F(0), F(1))
    assert move_words(score, move) == "RH pickup, beat 4 → bar 1, beat 1"
