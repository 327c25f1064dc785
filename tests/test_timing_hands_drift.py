"""Hands that drift apart: found, and the hand that left the common tempo is named."""

import random

import pytest

from coach.judging.judge import judge
from coach.score.model import Hand
from tests.judging_help import both, play, whole

TUNE = whole(both(16))
"""Two bars of 4/4: eighths in the right hand, quarters in the left."""


def drifting(hand: Hand, total_s: float, start: float = 1.0) -> dict[int, float]:
    """One hand leaves the beat after ``start`` quarters, up to ``total_s`` at the end."""
    last = max(float(n.onset_quarters) for n in TUNE.notes if n.hand is hand)
    return {
        i: total_s * max(float(n.onset_quarters) - start, 0.0) / (last - start)
        for i, n in enumerate(TUNE.notes)
        if n.hand is hand
    }


@pytest.mark.parametrize("hand", Hand)
@pytest.mark.parametrize("total_s", [0.3, -0.3])
def test_the_hand_that_leaves_the_beat_is_named_whether_it_hurries_or_lags(
    hand: Hand, total_s: float
) -> None:
    fault = judge(TUNE, play(TUNE, late=drifting(hand, total_s))).faults[0]
    assert (fault.cause, fault.hands.value) == ("hands drift", hand.value)
    assert ("behind" if total_s > 0 else "ahead of") in fault.words
    first = min(n.onset_quarters for n in TUNE.notes if n.hand is hand and n.onset_quarters > 1)
    assert first <= 2
    assert fault.from_beat == 1
    assert fault.to_beat == (8 if hand is Hand.RIGHT else 7)


def test_hands_that_slow_down_together_do_not_drift() -> None:
    played = play(TUNE, at=lambda x: 0.5 * x + 0.03 * x * x)
    assert not [f for f in judge(TUNE, played).faults if f.cause == "hands drift"]


@pytest.mark.parametrize("quarter", range(1, 8))
def test_one_late_onset_is_no_drift(quarter: int) -> None:
    late = {
        i: 0.25
        for i, n in enumerate(TUNE.notes)
        if n.hand is Hand.LEFT and n.onset_quarters == quarter
    }
    fault = judge(TUNE, play(TUNE, late=late)).faults[0]
    assert fault.cause == "one hand late"


def test_hands_within_a_melodys_lead_do_not_drift() -> None:
    rng = random.Random(3)
    late = {i: (n.hand is Hand.LEFT) * 0.03 + rng.gauss(0, 0.01) for i, n in enumerate(TUNE.notes)}
    assert judge(TUNE, play(TUNE, late=late)).clean


def test_the_hand_that_leaves_is_named_by_chance_no_more_often_when_it_lags() -> None:
    """Hands that scatter by 15 ms: whichever way one of them leaves, it is found about as often."""
    right = {
        total_s: sum(named(total_s, hand, seed) is hand for hand in Hand for seed in range(30))
        for total_s in (0.25, -0.25)
    }
    assert min(right.values()) >= 48
    assert abs(right[0.25] - right[-0.25]) <= 6


def named(total_s: float, hand: Hand, seed: int) -> Hand | None:
    """The hand that is said to drift where this one does, and both scatter."""
    rng = random.Random(seed)
    late = {i: rng.gauss(0, 0.015) for i in range(len(TUNE.notes))}
    for i, moved in drifting(hand, total_s).items():
        late[i] += moved
    faults = judge(TUNE, play(TUNE, late=late)).faults
    told = next((f.hands.value for f in faults if f.cause == "hands drift"), None)
    return next((one for one in Hand if one.value == told), None)
