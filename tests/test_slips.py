"""What is known of a player's slips, and how a place is held against it."""

from fractions import Fraction as F

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.coaching.belief import beliefs
from coach.coaching.evidence import Evidence
from coach.coaching.facts import Observation
from coach.coaching.slips import MOVES_BEFORE, SLIP_SHAPE, SLIPS_BEFORE, Heard, Slips
from coach.judging.facts import Outcome
from coach.score.model import Hands
from coach.score.window import Transition

RIGHT = [Transition(Hands.RIGHT, F(beat - 1), F(beat)) for beat in range(1, 17)]


def playing(*repetitions: set[int]) -> Evidence:
    """The right hand's sixteen moves, hands together, again and again; beats that went wrong."""
    evidence = Evidence()
    for at, wrong in enumerate(repetitions):
        evidence.add([_move(float(at + 1), move, wrong) for move in RIGHT], 90.0)
    return evidence


def _move(at_s: float, move: Transition, wrong: set[int]) -> Observation:
    outcome = Outcome.WRONG if move.to_quarters in wrong else Outcome.CLEAN
    return Observation(at_s, move, move.to_quarters, Hands.TOGETHER, outcome, 90.0)


def fault(evidence: Evidence, beat: int) -> float:
    believed, _ = beliefs(evidence, RIGHT)
    return believed[F(beat)].fault


@pytest.mark.property
@given(st.floats(0.5, 200.0), st.floats(400.0, 4000.0))
def test_a_move_varies_as_the_player_and_the_move_vary_together(slips: float, moves: float) -> None:
    """Squares of a product's coefficients: 1 + cv2 multiply where the factors are independent.

    For a Gamma 1 + cv2 is 1 + 1 / shape (common practice; for a rare slip the Beta is nearly one).
    """
    a, mean = Slips.of(slips, moves).a, Slips.of(slips, moves).rate
    assert mean == pytest.approx(min(slips / moves, 0.5))
    assert 1 + 1 / a == pytest.approx((1 + 1 / slips) * (1 + 1 / SLIP_SHAPE))


def test_a_player_who_was_heard_for_long_is_known_better() -> None:
    assert Slips.of(0.6, 120.0).a < Slips.of(6.0, 1200.0).a < SLIP_SHAPE


def test_a_place_is_held_against_what_is_known_from_elsewhere() -> None:
    heard = Heard.of([(2.0, 4.0, 0.3), (1.0, 4.0, 1.0)])
    there = heard.elsewhere(2.0, 4.0, 0.3)
    assert there.rate == pytest.approx((SLIPS_BEFORE + 1.0) / (MOVES_BEFORE + 4.0))


def test_who_slips_everywhere_is_not_accused_where_a_careful_player_is() -> None:
    careful = playing({5}, set(), set(), {5})
    careless = playing({5, 9}, {2, 12}, {7, 14}, {5, 3})
    assert fault(careful, 5) > 0.97
    assert fault(careless, 5) < 0.9


def test_two_places_that_break_each_do_not_excuse_the_other() -> None:
    one, two = playing({5}, set(), {5}), playing({5, 12}, set(), {5, 12})
    assert fault(two, 5) > 0.97
    assert fault(two, 5) == pytest.approx(fault(one, 5), abs=0.02)
