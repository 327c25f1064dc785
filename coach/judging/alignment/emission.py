"""Emission cost: how badly a struck key fits a note, by its pitch and by its time.

Times cost as under a normal distribution up to 1.5 standard deviations and in proportion beyond
(Huber 1964, Ann. Math. Stat. 35, 73-101), up to a most: one late note is no proof of another place.
"""

from __future__ import annotations

from itertools import pairwise

from coach.judging.alignment.costs import IMPOSSIBLE, WILD_SEMITONES, Costs
from coach.judging.alignment.hypothesis import NEVER, Hypothesis, StruckKey
from coach.judging.alignment.score_arrays import ScoreArrays

# Where no source is given, a figure is our own choice, because none is published for such a clock;
# all were held against the made windows of ``scripts/earcases``. Times are in the decoder's own.

FRESH_BEATS = 1.0
"""A hand that played so many beats before the other tells no more than the other does."""
CORRECTION_S = 0.7
"""A wrong key is put right within this time, or not at all."""
CORRECTION_SEMITONES = 3
"""A key put right lies no farther than this from the wrong one: the finger beside it."""
SMALL_SPREAD_S = 0.07
"""Spread of a small note's time: how long before the beat it comes is the player's own choice."""
OTHER_HAND = 0.1
"""What it costs that a note fits the other hand's clock and not its own hand's."""
LONGEST_BEATS = 2.0
"""The spread of a gap grows with it, up to so many beats."""
HUBER_Z = 1.5
"""From so many standard deviations on a time costs in proportion."""
HUBER_SLOPE, HUBER_START = 0.55, 0.3
"""By so much each, from so much on: at the limit both costs are about the same (1.125)."""
SHIFT_SEMITONES = 4
"""A key no farther off than this, to the side of the last wrong one, may be a shifted hand's."""
LEAST_GAP_BEATS = 0.25
"""A gap shorter than this spreads as one of this length, where time closed up."""
CLOSED_SPREAD = 0.2
"""Spread of a gap over which time closed up, as a share of it."""
CLOSED_MOST = 4.0
"""The most that the time of such a gap costs."""
TOGETHER_S = 0.08
"""Hands this close together over a skip went over it together."""
TOGETHER_SLOPE, TOGETHER_MOST = 0.25, 2.0
"""Then the time of the gap costs so much for each square of a standard deviation, and at most
so much."""
WHOLE_BEAT = 0.9
"""Beats from which a gap counts as a whole one: small notes stand a little before their beat."""
ON_BEAT = 0.01
"""Beats by which an onset may miss a beat, as reckoned in floating point."""


class Emission:
    """What keys cost as notes of one score."""

    def __init__(self, score: ScoreArrays, costs: Costs) -> None:
        self.score = score
        self.costs = costs
        self.spread_s = max(costs.spread_s, costs.spread_share * _shortest_gap(score))
        self.wrong_by_size = costs.wrong_by_size
        self.least_wrong = min(self.wrong_by_size)
        self.most_wrong = costs.extra + costs.missed + costs.skip + costs.wrong_over
        """A wrong key that costs more is surely one too many, and its note left out."""

    def pitch_cost(self, off: int, last_off: int) -> float:
        """What a key so many semitones off costs; ``last_off``: how far the hand's last was."""
        if last_off:
            if off == last_off:
                return self.costs.wrong_same
            if off * last_off > 0 and -SHIFT_SEMITONES <= off <= SHIFT_SEMITONES:
                return self.costs.wrong_shift
        size = off if off > 0 else -off
        return self.wrong_by_size[size] if size < WILD_SEMITONES else self.costs.wrong_wild

    def timing_cost(self, hypothesis: Hypothesis, target: int, at_s: float) -> float:
        """How badly a time fits a note: by its own hand's clock and by the other's."""
        score, costs = self.score, self.costs
        beat = score.beat[score.onset[target]]
        spread_s = SMALL_SPREAD_S if score.small[target] else self.spread_s
        period_s, right_s, left_s = hypothesis.period_s, hypothesis.right_s, hypothesis.left_s
        right = left = -1.0
        if right_s != NEVER:
            gap = beat - hypothesis.right_beat
            right = _misfit(at_s - right_s - gap * period_s, gap, spread_s, period_s, costs)
        if left_s != NEVER:
            gap = beat - hypothesis.left_beat
            left = _misfit(at_s - left_s - gap * period_s, gap, spread_s, period_s, costs)
        if left < 0:
            return right if right > 0 else 0.0
        if right < 0:
            return left
        if score.hand[target]:
            right += OTHER_HAND
        else:
            left += OTHER_HAND
        behind = hypothesis.left_beat - hypothesis.right_beat
        if right < left:
            return right + costs.other * left if behind > -FRESH_BEATS else right
        return left + costs.other * right if behind < FRESH_BEATS else left

    def explained_timing_cost(
        self, hypothesis: Hypothesis, target: int, key: StruckKey, skipped: float, timing: float
    ) -> float:
        """A time that does not fit may yet be explained: by a skip, or by a correction.

        ``skipped``: what the notes cost that were left out before it.
        """
        costs = self.costs
        if skipped > 0:
            timing = min(timing, self._closed_up_cost(hypothesis, target, key.at_s))
            if skipped > costs.lost:
                timing = min(timing, costs.found)
        extra_s, apart = hypothesis.extra_s, abs(key.pitch - hypothesis.extra_pitch)
        if 0 < apart <= CORRECTION_SEMITONES and key.at_s - extra_s < CORRECTION_S:
            timing = min(timing, costs.corrected + self.timing_cost(hypothesis, target, extra_s))
        return timing

    def _closed_up_cost(self, hypothesis: Hypothesis, target: int, at_s: float) -> float:
        """The same where notes were left out and time closed up: due when the first of them was.

        Where the other hand has gone over the gap already, it is enough to be together with it.
        """
        score, costs, period_s = self.score, self.costs, hypothesis.period_s
        own = hypothesis.right, hypothesis.right_s, hypothesis.right_beat
        other_s, other_beat = hypothesis.left_s, hypothesis.left_beat
        if score.hand[target]:
            own = hypothesis.left, hypothesis.left_s, hypothesis.left_beat
            other_s, other_beat = hypothesis.right_s, hypothesis.right_beat
        front, hand_s, hand_beat = own
        if hand_s == NEVER:
            return IMPOSSIBLE
        after, over = score.beat[front + 1], score.beat[score.onset[target]]
        gap = after - hand_beat
        late_s = at_s - hand_s - gap * period_s
        gap = min(max(gap, LEAST_GAP_BEATS), LONGEST_BEATS)
        z = abs(late_s) / (self.spread_s + CLOSED_SPREAD * period_s * gap)
        if other_s != NEVER and other_beat > after:
            apart_s = at_s - other_s - (over - other_beat) * period_s
            if abs(apart_s) < TOGETHER_S:
                return costs.together + min(TOGETHER_SLOPE * z * z, TOGETHER_MOST)
        closed = costs.closed if over - after > WHOLE_BEAT else costs.closed_part
        if abs(over - round(over)) > ON_BEAT:
            closed += costs.closed_off
        return min(0.5 * z * z, CLOSED_MOST) + closed


def _shortest_gap(score: ScoreArrays) -> float:
    """Beats between the two nearest onsets, small notes aside."""
    beats = [beat for at, beat in enumerate(score.beat) if not score.small[score.first[at]]]
    return min((after - before for before, after in pairwise(beats)), default=1.0)


def _misfit(late_s: float, gap: float, spread_s: float, period_s: float, costs: Costs) -> float:
    """Cost of being so many seconds late (early: negative) after a gap in beats."""
    if gap < 0:
        gap = -gap
    spread_s += costs.give * period_s * (gap if gap < LONGEST_BEATS else LONGEST_BEATS)
    z = late_s / spread_s
    if z < 0:
        z, most = -z, costs.early
    else:
        most = costs.late
    cost = 0.5 * z * z if z < HUBER_Z else HUBER_SLOPE * z + HUBER_START
    return cost if cost < most else most
