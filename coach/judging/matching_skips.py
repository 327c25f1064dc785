"""What the notes cost that a reading leaves out: on a hand's way, and at the end."""

from __future__ import annotations

from itertools import pairwise
from math import log

from coach.judging.matching_costs import Costs
from coach.judging.matching_reading import Reading
from coach.judging.matching_score import Layout

IMPOSSIBLE = 99.0
LEAP = 4.0
"""Going on more beats ahead than this, or back, is rare, and the rarer the farther it goes."""
BEHIND = 1.0
"""So many beats behind its hand's front a note may still come."""


class Skips:
    """Costs of notes left out over one score."""

    def __init__(self, layout: Layout, costs: Costs) -> None:
        self.layout = layout
        self.costs = costs
        self.by_count = costs.by_count
        self.before = self._before()
        self.due_rank = [[bits.bit_count() for bits in before] for before in self.before]
        """For each hand and onset, how many notes of the hand lie before it."""

    def _before(self) -> tuple[list[int], list[int]]:
        """For each onset, the notes of each hand that lie before it, as bits."""
        hands, bits = self.layout.hand, [0, 0]
        right, left = [0], [0]
        for start, end in pairwise(self.layout.first):
            for note in range(start, end):
                bits[hands[note]] |= 1 << note
            right.append(bits[0])
            left.append(bits[1])
        return right, left

    def advance(self, reading: Reading, target: int) -> float:
        """What moving the hand to a note costs: notes left out, or a note out of order."""
        layout, costs = self.layout, self.costs
        hand, onset = layout.hand[target], layout.onset[target]
        front = reading.left if hand else reading.right
        if onset == front:
            return 0.0
        if onset < front:
            behind = layout.beat[front] - layout.beat[onset]
            return costs.order - costs.missed_many if behind <= BEHIND else IMPOSSIBLE
        missed = self.missing(reading.done, hand, front, onset)
        if not missed:
            return 0.0
        return self.passed(reading, hand, front, onset, missed)

    def passed(self, reading: Reading, hand: int, front: int, onset: int, missed: int) -> float:
        """What so many notes of a hand cost that it left out on its way to an onset."""
        cost = self._leap(reading, front, onset)
        if reading.step is None:
            return cost + self.costs.enter + self.left_out(missed)
        return cost + self._skipped(reading, hand, front, onset, missed)

    def _leap(self, reading: Reading, front: int, onset: int) -> float:
        """What it costs to go far ahead; where the other hand has leapt, it has paid for both."""
        beat = self.layout.beat
        leap = beat[onset] - beat[front]
        if leap <= LEAP:
            return 0.0
        if reading.gap_end > front and reading.gap < onset:
            leap -= beat[min(onset, reading.gap_end)] - beat[max(front, reading.gap)]
        return self.far(leap)

    def far(self, beats: float) -> float:
        """What it costs that so many beats are leapt over, forward or back."""
        return self.costs.far * log(beats / LEAP) if beats > LEAP else 0.0

    def _skipped(
        self, reading: Reading, hand: int, front: int, onset: int, missed: int, besides: float = 0.0
    ) -> float:
        """What so many notes cost; those left out where the other hand skipped too cost little.

        ``besides`` is what it costs that there are any others.
        """
        shared = 0
        if reading.gap_end > front and reading.gap < onset:
            low, high = max(front, reading.gap), min(onset, reading.gap_end)
            shared = self.missing(reading.done, hand, low, high)
        alone = missed - shared
        cost = self.costs.shared * shared
        return cost + besides + self.left_out(alone) if alone else cost

    def missing(self, done: int, hand: int, front: int, onset: int) -> int:
        """How many notes of a hand from one onset up to another were not played."""
        before = self.before[hand]
        return ((before[front] ^ before[onset]) & ~done).bit_count()

    def left_out(self, count: int) -> float:
        """What leaving out so many notes at one place costs."""
        return self.by_count[count] if count < len(self.by_count) else self.costs.missed_most

    def owed(self, reading: Reading, keys: int) -> float:
        """What is sure to be left out yet costs, where so many keys are all that is to come."""
        past = self._lie_before(reading.right, reading.left) | reading.done
        if reading.gap_end:
            gap, after = reading.gap, reading.gap_end
            past |= self._lie_before(after, after) & ~self._lie_before(gap, gap)
        short = len(self.layout.pitch) - past.bit_count() - keys
        return self.left_out(short) if short > 0 else 0.0

    def unplayed(self, reading: Reading) -> float:
        """What the notes never played cost, those before each hand's front having been paid."""
        total, end = 0.0, len(self.layout.beat)
        for hand, front in ((0, reading.right), (1, reading.left)):
            missed = self.missing(reading.done, hand, front, end)
            if missed:
                total += self._skipped(reading, hand, front, end, missed, self.costs.end)
        return total

    def _lie_before(self, right: int, left: int) -> int:
        """The notes of each hand that lie before an onset, as bits."""
        return self.before[0][right] | self.before[1][left]
