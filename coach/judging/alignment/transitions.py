"""Transitions of the hidden Markov model: every sensible way to understand one more key.

A key may be a note of its pitch (a match), a wrong key for a note that is due (a substitution), a
key too many (an insertion), one more key of a free ornament, or the first after a jump back. Notes
passed over on the way are deletions.
"""

from __future__ import annotations

from bisect import bisect_left
from typing import NamedTuple

from coach.judging.alignment.beam_cells import BeamCells
from coach.judging.alignment.costs import IMPOSSIBLE, Costs
from coach.judging.alignment.deletions import Deletions
from coach.judging.alignment.emission import Emission
from coach.judging.alignment.hypothesis import NEVER, Hypothesis, StruckKey
from coach.judging.alignment.restarts import Restarts
from coach.judging.alignment.score_arrays import ScoreArrays
from coach.judging.alignment.successors import Successors

# All figures here are our own choice, because each further way to understand a key takes time; they
# were held against the made windows of ``scripts/earcases``.

MOST_AHEAD = 4
"""How many later notes of its pitch a key may be, with those between left out."""
MOST_DUE = 6
"""How many due notes of a hand a wrong key may be meant for."""
DUE_ONSETS = 6
"""How many onsets behind the hand that is behind a note may still be due."""
ORNAMENT_SEMITONES = 4
"""How far from its written note a key of a free ornament may lie."""


class Widths(NamedTuple):
    """How far above the best a hypothesis may cost, for one key."""

    surely: float
    """A fit that costs less needs no other explanation."""
    sure: float
    """How far above the best hypotheses are kept where it fits surely,"""
    wide: float
    """and where it does not."""


class Transitions:
    """Extends hypotheses over one score: the parts that price a step, and those that make it."""

    def __init__(self, score: ScoreArrays, costs: Costs, most_back: int | None = None) -> None:
        """``most_back``: how many notes of a key's pitch a jump back looks at; None: all."""
        self.score = score
        self.costs = costs
        self.deletions = Deletions(score, costs)
        self.emission = Emission(score, costs)
        self.successors = Successors(score)
        self.restarts = Restarts(score, costs, self.deletions, self.emission, most_back)
        self.any_free = True in score.free
        self.of_hand = (
            [n for n, hand in enumerate(score.hand) if hand == 0],
            [n for n, hand in enumerate(score.hand) if hand == 1],
        )
        """The notes of each hand."""
        first = score.first
        self.first_due = [first[max(onset - DUE_ONSETS, 0)] for onset in range(len(first))]
        """The first note that may still be due where the hand behind has come to an onset."""

    def extend(
        self, hypothesis: Hypothesis, key: StruckKey, widths: Widths, bound: float, cells: BeamCells
    ) -> float:
        """Keep what follows at a cost up to ``bound``; the bound that this sets."""
        surely, sure, wide = widths
        base = hypothesis.cost
        pause = self.restarts.pause_before(hypothesis, key)
        if pause == 1.0:
            surely = NEVER
            widths = Widths(surely, sure, wide)
        best = self._match(hypothesis, key, widths, bound - base, cells)
        most = base + best + (sure if best < surely else wide)
        bound = most if most < bound else bound
        if best < surely:
            return bound
        room, costs = bound - base, self.costs
        if self.any_free:
            self._ornament(hypothesis, key, cells)
        if room >= costs.wrong_same:
            self._substitute(hypothesis, key, room, cells)
        extra = costs.brush if key.is_soft else costs.extra
        if extra <= room:
            self.successors.add_extra(hypothesis, key, extra, cells)
        stopped = best > costs.doubtful or pause == 1.0
        if stopped and room >= self.restarts.least_cost:
            self.restarts.jump_back(hypothesis, key, pause, room, cells)
        return bound

    def _match(
        self, hypothesis: Hypothesis, key: StruckKey, widths: Widths, room: float, cells: BeamCells
    ) -> float:
        """The key as a note of its pitch: what the best of these costs."""
        surely, sure, wide = widths
        score, at_s, fits = self.score, key.at_s, self.costs.surely
        move_cost, timing_cost = self.deletions.move_cost, self.emission.timing_cost
        done, ahead, best = hypothesis.done, 0, IMPOSSIBLE
        right, left = hypothesis.right, hypothesis.left
        targets = score.of_pitch.get(key.pitch, ())
        low = self.first_due[right if right < left else left]
        for rank in range(bisect_left(targets, low), len(targets)):
            target = targets[rank]
            if done >> target & 1:
                continue
            if score.onset[target] > (left if score.hand[target] else right):
                ahead += 1
                if ahead > MOST_AHEAD:
                    break
            skipped = move_cost(hypothesis, target)
            if skipped > room:
                continue
            timing = timing_cost(hypothesis, target, at_s)
            if timing > fits:
                timing = self.emission.explained_timing_cost(
                    hypothesis, target, key, skipped, timing
                )
            cost = timing + skipped
            if cost < best:
                best = cost
                most = cost + (sure if cost < surely else wide)
                room = most if most < room else room
            if cost <= room:
                self.successors.play(hypothesis, key, target, cost, skipped > 0, cells)
        return best

    def _ornament(self, hypothesis: Hypothesis, key: StruckKey, cells: BeamCells) -> None:
        """One more key of an ornament that is played freely."""
        score = self.score
        for hand, front in ((0, hypothesis.right), (1, hypothesis.left)):
            for target in range(score.first[front], score.first[front + 1]):
                if (
                    score.free[target]
                    and score.hand[target] == hand
                    and hypothesis.done >> target & 1
                    and abs(key.pitch - score.pitch[target]) <= ORNAMENT_SEMITONES
                ):
                    self.successors.ornament(hypothesis, key, target, self.costs.free, cells)

    def _substitute(
        self, hypothesis: Hypothesis, key: StruckKey, room: float, cells: BeamCells
    ) -> None:
        """A wrong key for a note that is due now."""
        least_new = self.emission.least_wrong
        for hand, last_off in ((0, hypothesis.right_off), (1, hypothesis.left_off)):
            if room >= (self.costs.wrong_same if last_off else least_new):
                self._substitute_in(hand, hypothesis, key, room, cells)

    def _substitute_in(
        self, hand: int, hypothesis: Hypothesis, key: StruckKey, room: float, cells: BeamCells
    ) -> None:
        """The same for one hand."""
        score, done, at_s, pitch = self.score, hypothesis.done, key.at_s, key.pitch
        emission, costs, successors = self.emission, self.costs, self.successors
        pitch_cost, is_wanted = emission.pitch_cost, successors.is_wanted
        pitches, onsets, notes = score.pitch, score.onset, self.of_hand[hand]
        if hand:
            front, last_off = hypothesis.left, hypothesis.left_off
        else:
            front, last_off = hypothesis.right, hypothesis.right_off
        most_skipped = room - (costs.wrong_same if last_off else emission.least_wrong)
        limit = emission.most_wrong if emission.most_wrong < room else room
        seen = before = 0
        onset, skipped = front, 0.0
        for rank in range(self.deletions.due_rank[hand][front], len(notes)):
            target = notes[rank]
            if done >> target & 1:
                continue
            if onsets[target] > onset:
                onset, before = onsets[target], seen
                if before:
                    skipped = self.deletions.skip_cost(hypothesis, hand, front, onset, before)
                if skipped > most_skipped:
                    break
            seen += 1
            if seen > MOST_DUE:
                break
            off = pitch - pitches[target]
            if off == 0:
                continue
            cost = pitch_cost(off, last_off)
            if cost >= limit or cost + skipped > room:
                continue
            if not is_wanted(hypothesis, key, target, cost + skipped, cells):
                continue
            cost += costs.wrong_timing * emission.timing_cost(hypothesis, target, at_s)
            if cost < limit and cost + skipped <= room:
                successors.play(hypothesis, key, target, cost + skipped, before > 0, cells)
