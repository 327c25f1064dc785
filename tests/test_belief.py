"""Which explanation of a beat's failures is believed, by Bayes' rule on what was heard."""

import pytest

from coach.coaching.diagnosis.evidence import AttemptCounts, BeatCounts
from coach.coaching.diagnosis.troubles import Posterior, SlipRate, beat_posterior, fault_prior
from coach.score.model import Hand, Hands

BOTH = frozenset({Hands.RIGHT, Hands.LEFT})
SLIPS = SlipRate.of_mean(0.005)


def posterior(tally: BeatCounts, slips: SlipRate = SLIPS) -> Posterior:
    """The belief about one of sixteen moves."""
    return beat_posterior(tally, slips, fault_prior(16), BOTH)


def tally(
    together: float = 0.0,
    right: float = 0.0,
    left: float = 0.0,
    both: float = 0.0,
    late: float = 0.0,
    alone_right: AttemptCounts | None = None,
    alone_left: AttemptCounts | None = None,
) -> BeatCounts:
    """What was heard: attempts hands together and how they failed, then each hand alone."""
    out = BeatCounts(together, right, left, both, late)
    out.alone = {
        Hand.RIGHT: alone_right or AttemptCounts(),
        Hand.LEFT: alone_left or AttemptCounts(),
    }
    return out


def test_the_explanations_add_up_to_one() -> None:
    for heard in (tally(), tally(5, 2, 1, 1), tally(3, both=3, alone_right=AttemptCounts(4, 1, 4))):
        b = posterior(heard)
        assert b.healthy + b.right + b.left + b.together == pytest.approx(1.0)


def test_the_hand_that_fails_is_blamed() -> None:
    assert posterior(tally(4, right=3)).best is Hands.RIGHT
    assert posterior(tally(4, left=3)).best is Hands.LEFT


def test_right_alone_and_wrong_together_is_believed_to_be_the_joining() -> None:
    clean = AttemptCounts(4, 0, 4)
    assert posterior(tally(6, right=3)).best is Hands.RIGHT
    assert posterior(tally(6, right=3, alone_right=clean, alone_left=clean)).best is Hands.TOGETHER


def test_both_hands_late_at_once_is_one_slip_and_not_two() -> None:
    """A hand that stumbles makes the other wait: two slips in two hands would be far rarer."""
    once, twice = tally(1, both=1, late=1), tally(1, right=1, left=1)
    assert posterior(once).healthy > 20 * posterior(twice).healthy
    assert posterior(once).healthy == pytest.approx(posterior(tally(1, right=1)).healthy, abs=0.2)


def test_the_more_a_player_slips_everywhere_the_less_one_failure_is_a_place() -> None:
    sure = [
        posterior(tally(3, right=1), SlipRate.of_mean(rate)).fault for rate in (0.002, 0.02, 0.2)
    ]
    assert sure == sorted(sure, reverse=True)


def test_a_hand_clean_where_its_lateness_would_not_be_heard_clears_it_less() -> None:
    """Two notes alone hide a hesitation that a bar shows."""
    hidden, plain = AttemptCounts(4, 0, 1), AttemptCounts(4, 0, 4)
    late = {h: posterior(tally(4, both=3, late=3, alone_right=h_)) for h, h_ in
            (("hidden", hidden), ("plain", plain))}  # fmt: skip
    assert late["hidden"].right > 2 * late["plain"].right
    wrong = [posterior(tally(4, both=3, alone_right=counts)).right for counts in (hidden, plain)]
    assert wrong[0] == wrong[1]
