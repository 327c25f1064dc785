"""How well a key fits a note, given a reading: by its pitch, and by its time."""

from __future__ import annotations

from itertools import pairwise

from coach.judging.matching_costs import WILD, Costs
from coach.judging.matching_reading import NEVER, Key, Reading
from coach.judging.matching_score import Layout
from coach.judging.matching_skips import IMPOSSIBLE, Skips

FRESH = 1.0
"""A hand that played so many beats before the other tells no more than the other does."""
CORRECTION_S = 0.7
"""A wrong key is put right within this time, or not at all."""


class Fit(Skips):
    """Costs of places and times over one score."""

    def __init__(self, layout: Layout, costs: Costs) -> None:
        super().__init__(layout, costs)
        self.spread_s = max(costs.spread_s, costs.spread_share * _shortest(layout))
        self.any_free = True in layout.free
        self.of_hand = (
            [n for n, hand in enumerate(layout.hand) if hand == 0],
            [n for n, hand in enumerate(layout.hand) if hand == 1],
        )
        self.by_size = costs.by_size
        self.least_wrong = min(self.by_size)
        self.most_wrong = costs.extra + costs.missed + costs.skip + 1
        """A wrong key that costs more is surely one too many, and its note left out."""

    def excused(
        self, reading: Reading, target: int, key: Key, missed: float, timing: float
    ) -> float:
        """A time that does not fit may yet be explained: by a skip, or by a correction."""
        costs = self.costs
        if missed > 0:
            timing = min(timing, self._closed_up(reading, target, key.at))
            if missed > costs.lost:
                timing = min(timing, costs.found)
        before = reading.stray_s
        if 0 < abs(key.pitch - reading.stray) <= 3 and key.at - before < CORRECTION_S:
            timing = min(timing, costs.corrected + self.timing(reading, target, before))
        return timing

    def wrong_pitch(self, off: int, last: int) -> float:
        """What a key so many semitones off costs; ``last``: how far off the hand's last was."""
        if last:
            if off == last:
                return self.costs.wrong_same
            if off * last > 0 and -4 <= off <= 4:
                return self.costs.wrong_shift
        size = off if off > 0 else -off
        return self.by_size[size] if size < WILD else self.costs.wrong_wild

    def timing(self, reading: Reading, target: int, at: float) -> float:
        """How badly a time fits a note: by its own hand's clock and by the other's."""
        layout, costs = self.layout, self.costs
        beat = layout.beat[layout.onset[target]]
        slack = 0.07 if layout.small[target] else self.spread_s
        period = reading.period_s
        one = two = -1.0
        if reading.right_s != NEVER:
            gap = beat - reading.right_beat
            one = _misfit(at - reading.right_s - gap * period, gap, slack, period, costs)
        if reading.left_s != NEVER:
            gap = beat - reading.left_beat
            two = _misfit(at - reading.left_s - gap * period, gap, slack, period, costs)
        if two < 0:
            return one if one > 0 else 0.0
        if one < 0:
            return two
        if layout.hand[target]:
            one += 0.1
        else:
            two += 0.1
        behind = reading.left_beat - reading.right_beat
        if one < two:
            return one + costs.other * two if behind > -FRESH else one
        return two + costs.other * one if behind < FRESH else two

    def _closed_up(self, reading: Reading, target: int, at: float) -> float:
        """The same where notes were left out and time closed up: due when the first of them was.

        Where the other hand has gone over the gap already, it is enough to be together with it.
        """
        layout, costs, period = self.layout, self.costs, reading.period_s
        mine = reading.right, reading.right_s, reading.right_beat
        other_s, other_beat = reading.left_s, reading.left_beat
        if layout.hand[target]:
            mine = reading.left, reading.left_s, reading.left_beat
            other_s, other_beat = reading.right_s, reading.right_beat
        front, hand_s, hand_beat = mine
        if hand_s == NEVER:
            return IMPOSSIBLE
        after, over = layout.beat[front + 1], layout.beat[layout.onset[target]]
        gap = after - hand_beat
        away = at - hand_s - gap * period
        x = abs(away) / (self.spread_s + 0.2 * period * min(max(gap, 0.25), 2.0))
        if other_s != NEVER and other_beat > after:
            apart = at - other_s - (over - other_beat) * period
            if abs(apart) < 0.08:
                return costs.together + min(0.25 * x * x, 2.0)
        closed = costs.closed if over - after > 0.9 else costs.closed_part
        if abs(over - round(over)) > 0.01:
            closed += costs.closed_off
        return min(0.5 * x * x, 4.0) + closed


def _shortest(layout: Layout) -> float:
    """Beats between the two nearest onsets, small notes aside."""
    beats = [beat for at, beat in enumerate(layout.beat) if not layout.small[layout.first[at]]]
    return min((after - before for before, after in pairwise(beats)), default=1.0)


def _misfit(away: float, gap: float, slack: float, period: float, costs: Costs) -> float:
    """Cost of being so many seconds late (early: negative) after a gap in beats."""
    if gap < 0:
        gap = -gap
    x = away / (slack + costs.give * period * (gap if gap < 2.0 else 2.0))
    if x < 0:
        x, cap = -x, costs.early
    else:
        cap = costs.late
    cost = 0.5 * x * x if x < 1.5 else 0.55 * x + 0.3
    return cost if cost < cap else cap
