"""What one repetition is expected to tell about one beat, in bits."""

from __future__ import annotations

from functools import lru_cache

from coach.coaching.belief import FAULT_A, FAULT_B, Belief
from coach.coaching.showing import ONE_HAND, TOGETHER, expected
from coach.coaching.slips import Slips
from coach.coaching.statistics import information_bits
from coach.coaching.tally import BeatTally
from coach.score.model import Hands

FAILS = FAULT_A / (FAULT_A + FAULT_B)
"""How often a standing fault is expected to fail."""


def bits(belief: Belief, hands: Hands, slips: Slips, heard: float, tally: BeatTally) -> float:
    """What playing a beat once with these hands is expected to tell about it, in bits.

    ``heard`` is the chance that the fault would be heard where it shows; ``tally``, what was heard
    of the beat, tells how it will show: one that always shows in both hands at once does not tell,
    while both play, whose it is.
    """
    prior = [belief.healthy, belief.right, belief.left, belief.together]
    rounded = tuple(round(p, 3) for p in prior)
    if hands is not Hands.TOGETHER:
        return _bits_alone(rounded, hands, round(slips.rate, 4), round(heard, 2))
    seen = tuple(round(x, 1) for x in (tally.right_failed, tally.left_failed, tally.both_failed))
    return _bits_together(rounded, seen, round(slips.rate, 4), round(heard, 2))


@lru_cache(maxsize=4096)
def _bits_alone(prior: tuple[float, ...], hands: Hands, slip: float, heard: float) -> float:
    own = 1 if hands is Hands.RIGHT else 2
    chances = [heard * FAILS if h == own else slip for h in range(4)]
    return information_bits(prior, [(c, 1 - c) for c in chances])


@lru_cache(maxsize=4096)
def _bits_together(
    prior: tuple[float, ...], seen: tuple[float, ...], slip: float, heard: float
) -> float:
    fails = heard * FAILS
    right, left, both = seen
    own, other, at_once = expected((right, 0.0, both), ONE_HAND)
    of_right = (fails * own, max(fails * other, slip), fails * at_once)
    own, other, at_once = expected((left, 0.0, both), ONE_HAND)
    of_left = (max(fails * other, slip), fails * own, fails * at_once)
    of_both = tuple(fails * share for share in expected(seen, TOGETHER))
    shown = ((slip, slip, 0.0), of_right, of_left, of_both)
    return information_bits(prior, [(*one, max(1.0 - sum(one), 0.0)) for one in shown])
