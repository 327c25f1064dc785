"""Deletion cost: what the notes cost that a hypothesis leaves out, on a hand's way and at the end.

A pianist skips places, not single notes: so one skip costs a sum once and little more for each
note, as an affine gap does in sequence alignment (Gotoh 1982, J. Mol. Biol. 162, 705-708).
"""

from __future__ import annotations

from itertools import pairwise
from math import log

from coach.judging.alignment.costs import IMPOSSIBLE, Costs
from coach.judging.alignment.hypothesis import Hypothesis
from coach.judging.alignment.score_arrays import ScoreArrays

LEAP_BEATS = 4.0
"""Going on more beats ahead than this, or back, is rare, and the rarer the farther it goes. Own
choice, because it is a bar of common time."""
BEHIND_BEATS = 1.0
"""So many beats behind its hand's front a note may still come. Own choice, because a note that is
a whole beat late was left out and struck again."""


class Deletions:
    """What it costs to leave notes of one score out."""

    def __init__(self, score: ScoreArrays, costs: Costs) -> None:
        self.score = score
        self.costs = costs
        self.cost_of = costs.list_deletion_costs(len(score.pitch))
        """What leaving out none, one, two ... notes at one place costs."""
        self.before = self._collect_before()
        """For each hand and onset, the notes of the hand that lie before it, as bits."""
        self.due_rank = [[bits.bit_count() for bits in before] for before in self.before]
        """For each hand and onset, how many notes of the hand lie before it."""

    def _collect_before(self) -> tuple[list[int], list[int]]:
        hands, bits = self.score.hand, [0, 0]
        right, left = [0], [0]
        for start, end in pairwise(self.score.first):
            for note in range(start, end):
                bits[hands[note]] |= 1 << note
            right.append(bits[0])
            left.append(bits[1])
        return right, left

    def move_cost(self, hypothesis: Hypothesis, target: int) -> float:
        """What moving the hand to a note costs: notes left out, or a note out of order."""
        score, costs = self.score, self.costs
        hand, onset = score.hand[target], score.onset[target]
        front = hypothesis.left if hand else hypothesis.right
        if onset == front:
            return 0.0
        if onset < front:
            behind = score.beat[front] - score.beat[onset]
            return costs.order - costs.missed_many if behind <= BEHIND_BEATS else IMPOSSIBLE
        missed = self.count_missing(hypothesis.done, hand, front, onset)
        if not missed:
            return 0.0
        return self.skip_cost(hypothesis, hand, front, onset, missed)

    def skip_cost(
        self, hypothesis: Hypothesis, hand: int, front: int, onset: int, missed: int
    ) -> float:
        """What so many notes of a hand cost that it left out on its way to an onset."""
        cost, beat = 0.0, self.score.beat
        if beat[onset] - beat[front] > LEAP_BEATS:
            cost = self._leap_ahead_cost(hypothesis, front, onset)
        if hypothesis.step is None:
            return cost + self.costs.enter + self.cost_of[missed]
        return cost + self._shared_skip_cost(hypothesis, hand, front, onset, missed)

    def _leap_ahead_cost(self, hypothesis: Hypothesis, front: int, onset: int) -> float:
        """What it costs to go far ahead; where the other hand has leapt, it has paid for both."""
        beat = self.score.beat
        leap_beats = beat[onset] - beat[front]
        if hypothesis.gap_end > front and hypothesis.gap < onset:
            leap_beats -= beat[min(onset, hypothesis.gap_end)] - beat[max(front, hypothesis.gap)]
        return self.leap_cost(leap_beats)

    def leap_cost(self, beats: float) -> float:
        """What it costs that so many beats are leapt over, forward or back."""
        return self.costs.far * log(beats / LEAP_BEATS) if beats > LEAP_BEATS else 0.0

    def _shared_skip_cost(
        self, hypothesis: Hypothesis, hand: int, front: int, onset: int, missed: int,
        besides: float = 0.0,
    ) -> float:  # fmt: skip
        """What so many notes cost; those left out where the other hand skipped too cost little.

        ``besides`` is what it costs that there are any others.
        """
        shared = 0
        if hypothesis.gap_end > front and hypothesis.gap < onset:
            low, high = max(front, hypothesis.gap), min(onset, hypothesis.gap_end)
            shared = self.count_missing(hypothesis.done, hand, low, high)
        alone = missed - shared
        cost = self.costs.shared * shared
        return cost + besides + self.cost_of[alone] if alone else cost

    def count_missing(self, done: int, hand: int, front: int, onset: int) -> int:
        """How many notes of a hand from one onset up to another were not played."""
        before = self.before[hand]
        return ((before[front] ^ before[onset]) & ~done).bit_count()

    def lagging_cost(self, hypothesis: Hypothesis, onset: int) -> float:
        """What a hand that lags behind the onset jumped to has left out."""
        total = 0.0
        for hand, front in ((0, hypothesis.right), (1, hypothesis.left)):
            if front < onset:
                missed = self.count_missing(hypothesis.done, hand, front, onset)
                if missed:
                    total += self.cost_of[missed]
        return total

    def least_to_come(self, hypothesis: Hypothesis, keys: int) -> float:
        """What is sure to be left out yet costs, where so many keys are all that is to come."""
        past = self._notes_before(hypothesis.right, hypothesis.left) | hypothesis.done
        if hypothesis.gap_end:
            gap, after = hypothesis.gap, hypothesis.gap_end
            past |= self._notes_before(after, after) & ~self._notes_before(gap, gap)
        short = len(self.score.pitch) - past.bit_count() - keys
        return self.cost_of[short] if short > 0 else 0.0

    def end_cost(self, hypothesis: Hypothesis) -> float:
        """What the notes never played cost, those before each hand's front having been paid."""
        total, end = 0.0, len(self.score.beat)
        for hand, front in ((0, hypothesis.right), (1, hypothesis.left)):
            missed = self.count_missing(hypothesis.done, hand, front, end)
            if missed:
                total += self._shared_skip_cost(
                    hypothesis, hand, front, end, missed, self.costs.end
                )
        return total

    def _notes_before(self, right: int, left: int) -> int:
        """The notes of each hand that lie before an onset, as bits."""
        return self.before[0][right] | self.before[1][left]
