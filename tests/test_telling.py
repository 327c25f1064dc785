"""What a repetition is expected to tell, and how a fault shows while both hands play."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.coaching.diagnosis.evidence import BeatTally
from coach.coaching.diagnosis.probe_selection import bits
from coach.coaching.diagnosis.trouble_model import (
    ONE_HAND,
    TOGETHER,
    Belief,
    Slips,
    expected,
    log_chance,
)
from coach.score.model import Hands

SLIPS = Slips.of_rate(0.005)
WHOSE = Belief(0.0, 0.4, 0.4, 0.2)
"""That it is a fault is known; whose, is not."""


def heard(together: float, right: float = 0.0, left: float = 0.0, both: float = 0.0) -> BeatTally:
    """Attempts hands together, and how they failed."""
    return BeatTally(together, right, left, both)


def test_what_always_fails_in_both_hands_at_once_tells_nothing_of_whose_it_is() -> None:
    """A hand that hesitates makes the other wait: only one hand alone tells."""
    again = bits(WHOSE, Hands.TOGETHER, SLIPS, 1.0, heard(4, both=3))
    alone = bits(WHOSE, Hands.RIGHT, SLIPS, 1.0, heard(4, both=3))
    assert alone > 5 * again


def test_wrong_keys_tell_of_their_hand_while_both_play() -> None:
    assert bits(WHOSE, Hands.TOGETHER, SLIPS, 1.0, heard(2, right=1)) > 0.1


def test_what_was_seen_to_fail_in_one_hand_is_expected_there_again() -> None:
    own, other, both = expected((3.0, 0.0, 0.0), ONE_HAND)
    assert own > 0.9 > 0.1 > both > other
    own, other, both = expected((0.0, 0.0, 3.0), ONE_HAND)
    assert both > 0.8 > own > other


@pytest.mark.property
@given(seen=st.tuples(*[st.floats(0, 20)] * 3), ways=st.sampled_from([ONE_HAND, TOGETHER]))
def test_the_manners_expected_add_up_to_one(seen: tuple[float, ...], ways) -> None:
    assert sum(expected(seen, ways)) == pytest.approx(1.0)
    assert log_chance(seen, ways) <= 1e-9
