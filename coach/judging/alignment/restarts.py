"""Restarts: going back to an earlier place, to play on from there, after a stumble or anew.

As the jumps of Nakamura, Nakamura & Sagayama (2016), "Real-time audio-to-score alignment of music
performances containing errors and arbitrary repeats and skips", IEEE/ACM TASLP 24, 329-339: any
onset may follow any other, at a cost; here mostly after a stop or a slip.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from itertools import pairwise

from coach.judging.alignment.beam_cells import BeamCells
from coach.judging.alignment.costs import Costs
from coach.judging.alignment.deletions import Deletions
from coach.judging.alignment.emission import Emission
from coach.judging.alignment.hypothesis import (
    NEVER,
    BackPointer,
    Hypothesis,
    StepKind,
    StruckKey,
)
from coach.judging.alignment.score_arrays import ScoreArrays

PAUSE_S = 0.25
"""A stop this much longer than the written gap is surely one, in the decoder's own time. Own
choice, because it is nearly half a beat."""
LAST_BEATS = 0.5
"""Beats after which a key may be expected where none is written any more. Own choice, because what
follows is not known."""
RECENT_ONSETS = 3
"""A new attempt with a wrong key may begin so many onsets back. Own choice, because a
wrong key may be meant for nearly any note, and each takes time."""


class Restarts:
    """Jumps back in one score."""

    def __init__(
        self, score: ScoreArrays, costs: Costs, deletions: Deletions, emission: Emission,
        most_back: int | None = None,
    ) -> None:  # fmt: skip
        """``most_back``: only to so many notes of a key's pitch, those nearest, and to the window's
        beginning; None: to all."""
        self.score = score
        self.costs = costs
        self.deletions = deletions
        self.emission = emission
        self.most_back = most_back
        self.gap_after = [after - before for before, after in pairwise(score.beat)] + [LAST_BEATS]
        """Beats from each onset to the next."""
        self.least_cost = costs.jump - costs.pause - costs.erred
        """What a jump costs at the least."""

    def pause_before(self, hypothesis: Hypothesis, key: StruckKey) -> float:
        """Whether the pianist stopped before this key: 0 not at all, 1 surely."""
        right, left = hypothesis.right, hypothesis.left
        due_s = self.gap_after[right if right > left else left] * hypothesis.period_s
        late_s = key.at_s - hypothesis.last_s - due_s
        return 0.0 if late_s <= 0 else 1.0 if late_s >= PAUSE_S else late_s / PAUSE_S

    def jump_back(
        self, hypothesis: Hypothesis, key: StruckKey, pause: float, room: float, cells: BeamCells
    ) -> None:
        """Back to any earlier note of this pitch; after a stop, also with a wrong key."""
        costs = self.costs
        front = hypothesis.front
        base = costs.jump - costs.pause * pause
        if hypothesis.step is not None and hypothesis.step.kind is StepKind.WRONG:
            base -= costs.erred
        for target in self.find_targets(key.pitch, front):
            self._jump_to(hypothesis, key, target, base, room, cells)
        if pause == 1.0:
            for target in self._list_beginnings(front):
                off = key.pitch - self.score.pitch[target]
                if off:
                    cost = base + self.emission.pitch_cost(off, 0)
                    self._jump_to(hypothesis, key, target, cost, room, cells)

    def find_targets(self, pitch: int, front: int) -> Sequence[int]:
        """The notes of a pitch up to an onset."""
        first, targets = self.score.first, self.score.of_pitch.get(pitch, [])
        end = bisect_left(targets, first[front + 1])
        start = 0 if self.most_back is None else max(end - self.most_back, 0)
        if not start:
            return targets[:end]
        return [*targets[: bisect_left(targets, first[1], 0, start)], *targets[start:end]]

    def _list_beginnings(self, front: int) -> list[int]:
        """Notes that a new attempt may begin with: the window's first, and the last few."""
        first = self.score.first
        recent = range(first[max(front - RECENT_ONSETS, 0)], first[front + 1])
        return [*range(first[1]), *(note for note in recent if note >= first[1])]

    def _jump_to(
        self, hypothesis: Hypothesis, key: StruckKey, target: int, cost: float, room: float,
        cells: BeamCells,
    ) -> None:  # fmt: skip
        """Back to a note's onset, the key played for it, rightly or not."""
        score, h, at_s = self.score, hypothesis, key.at_s
        onset = score.onset[target]
        first = score.first[onset]
        if cost > room or not h.done >> first:
            return
        if onset > 0:  # to the window's first onset it is as near from everywhere
            front = h.front
            cost += min(self.costs.jump_onset * (front - onset), self.costs.jump_onsets_most)
            cost += self.deletions.leap_cost(score.beat[front] - score.beat[onset])
        cost += self.deletions.lagging_cost(h, onset)
        done = h.done & (1 << first) - 1 | 1 << target
        if cost > room or not cells.wants(onset, onset, done, at_s, h.cost + cost):
            return
        off = key.pitch - score.pitch[target]
        right_off, left_off = (0, off) if score.hand[target] else (off, 0)
        beat = score.beat[onset]
        kind = StepKind.WRONG if off else StepKind.MATCH
        jump = BackPointer(h.step, key.number, StepKind.JUMP, first)
        cells.keep(
            Hypothesis(
                h.cost + cost, done, onset, onset, at_s, at_s, beat, beat, h.period_s,
                right_off, left_off, 0, NEVER, at_s, BackPointer(jump, key.number, kind, target),
            )
        )  # fmt: skip
