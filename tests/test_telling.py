"""What a repetition is expected to tell, and how a fault shows while both hands play."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.coaching.diagnosis.evidence import BeatCounts
from coach.coaching.diagnosis.probe_selection import expected_bits
from coach.coaching.diagnosis.troubles import (
    ONE_HAND_FAULT,
    TOGETHER_FAULT,
    PatternMixture,
    Posterior,
    SlipRate,
    log_pattern_likelihood,
    predict_pattern,
)
from coach.score.model import Hands

SLIPS = SlipRate.of_mean(0.005)
WHOSE = Posterior(0.0, 0.4, 0.4, 0.2)
"""That it is a fault is known; whose, is not."""


def heard(together: float, right: float = 0.0, left: float = 0.0, both: float = 0.0) -> BeatCounts:
    """Attempts hands together, and how they failed."""
    return BeatCounts(together, right, left, both)


def test_what_always_fails_in_both_hands_at_once_tells_nothing_of_whose_it_is() -> None:
    """A hand that hesitates makes the other wait: only one hand alone tells."""
    again = expected_bits(WHOSE, Hands.TOGETHER, SLIPS, 1.0, heard(4, both=3))
    alone = expected_bits(WHOSE, Hands.RIGHT, SLIPS, 1.0, heard(4, both=3))
    assert alone > 4 * again


def test_wrong_keys_tell_of_their_hand_while_both_play() -> None:
    assert expected_bits(WHOSE, Hands.TOGETHER, SLIPS, 1.0, heard(2, right=1)) > 0.1


def test_what_was_seen_to_fail_in_one_hand_is_expected_there_again() -> None:
    own, other, both = predict_pattern((3.0, 0.0, 0.0), ONE_HAND_FAULT)
    assert own > 0.9 > 0.1 > both > other
    own, other, both = predict_pattern((0.0, 0.0, 3.0), ONE_HAND_FAULT)
    assert both > 0.8 > own > other


@pytest.mark.parametrize("patterns", [ONE_HAND_FAULT, TOGETHER_FAULT])
def test_shares_and_chances_of_the_patterns_add_up_to_one(patterns: PatternMixture) -> None:
    assert sum(share for share, _ in patterns) == pytest.approx(1.0)
    assert all(sum(pattern) == pytest.approx(1.0) for _, pattern in patterns)


@pytest.mark.property
@given(
    seen=st.tuples(*[st.floats(0, 20)] * 3), ways=st.sampled_from([ONE_HAND_FAULT, TOGETHER_FAULT])
)
def test_the_manners_expected_add_up_to_one(seen: tuple[float, ...], ways: PatternMixture) -> None:
    assert sum(predict_pattern(seen, ways)) == pytest.approx(1.0)
    assert log_pattern_likelihood(seen, ways) <= 1e-9
