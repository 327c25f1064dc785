"""Going back to an earlier place, to play on from there: a stumble or a restart."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from itertools import pairwise

from coach.judging.matching_costs import Costs
from coach.judging.matching_places import Places
from coach.judging.matching_reading import NEVER, Key, Kind, Reading
from coach.judging.matching_score import Layout
from coach.judging.matching_steps import Steps

PAUSE_S = 0.25
"""A stop this much longer than the written gap is surely one."""
LAST = 0.5
"""Beats after which a key may be expected where none is written any more."""


class Back(Steps):
    """Extends readings by going back."""

    def __init__(self, layout: Layout, costs: Costs, most_back: int | None = None) -> None:
        """``most_back``: only to so many notes of a key's pitch, those nearest, and to the window's
        beginning; None: to all."""
        super().__init__(layout, costs)
        self.most_back = most_back
        self.usual = [after - before for before, after in pairwise(layout.beat)] + [LAST]
        """Beats from each onset to the next."""

    def pause(self, reading: Reading, key: Key) -> float:
        """Whether the pianist stopped before this key: 0 not at all, 1 surely."""
        usual = self.usual[reading.right if reading.right > reading.left else reading.left]
        late = key.at - reading.last_s - usual * reading.period_s
        return 0.0 if late <= 0 else 1.0 if late >= PAUSE_S else late / PAUSE_S

    def jumps(
        self, reading: Reading, index: int, key: Key, pause: float, room: float, places: Places
    ) -> None:
        """Back to any earlier note of this pitch; after a stop, also with a wrong key."""
        layout, costs = self.layout, self.costs
        front = reading.front
        base = costs.jump - costs.pause * pause
        if reading.step is not None and reading.step[2] is Kind.WRONG:
            base -= costs.erred
        for target in self._back_to(key.pitch, front):
            self._jump(reading, index, key, target, base, room, places)
        if pause == 1.0:
            for target in self._again(front):
                off = key.pitch - layout.pitch[target]
                if off:
                    cost = base + self.wrong_pitch(off, 0)
                    self._jump(reading, index, key, target, cost, room, places)

    def _back_to(self, pitch: int, front: int) -> Sequence[int]:
        """The notes of a pitch up to an onset."""
        first, targets = self.layout.first, self.layout.of_pitch.get(pitch, [])
        end = bisect_left(targets, first[front + 1])
        start = 0 if self.most_back is None else max(end - self.most_back, 0)
        if not start:
            return targets[:end]
        return [*targets[: bisect_left(targets, first[1], 0, start)], *targets[start:end]]

    def _again(self, front: int) -> list[int]:
        """Notes that a new attempt may begin with: the window's first, and the last few."""
        first = self.layout.first
        recent = range(first[max(front - 3, 0)], first[front + 1])
        return [*range(first[1]), *(note for note in recent if note >= first[1])]

    def _jump(
        self, reading: Reading, index: int, key: Key, target: int, cost: float, room: float,
        places: Places,
    ) -> None:  # fmt: skip
        """Back to a note's onset, the key played for it, rightly or not."""
        layout, at = self.layout, key.at
        onset = layout.onset[target]
        first = layout.first[onset]
        if cost > room or not reading.done >> first:
            return
        if onset > 0:  # to the window's first onset it is as near from everywhere
            front = reading.front
            cost += min(0.15 * (front - onset), 2.0)
            cost += self.far(layout.beat[front] - layout.beat[onset])
        cost += self._owed(reading, onset)
        done = reading.done & (1 << first) - 1 | 1 << target
        if cost > room or not places.wants(onset, onset, done, at, reading.cost + cost):
            return
        off = key.pitch - layout.pitch[target]
        offs = (0, off) if layout.hand[target] else (off, 0)
        beat = layout.beat[onset]
        kind = Kind.WRONG if off else Kind.MATCH
        step = ((reading.step, index, Kind.JUMP, first), index, kind, target)
        places.keep(
            Reading(
                reading.cost + cost, done, onset, onset, at, at, beat, beat, reading.period_s,
                *offs, 0, NEVER, at, step,
            )
        )  # fmt: skip

    def _owed(self, reading: Reading, onset: int) -> float:
        """What a hand that lags behind the place jumped to has left out."""
        total = 0.0
        for hand, front in ((0, reading.right), (1, reading.left)):
            if front < onset:
                missed = self.missing(reading.done, hand, front, onset)
                if missed:
                    total += self.left_out(missed)
        return total
