"""Transitions of the hidden Markov model: every sensible way to understand one more key.

A key may be a note of its pitch (a match), a wrong key for a note that is due (a substitution), a
key too many (an insertion), one more key of a free ornament, or the first after a jump back. Notes
passed over on the way are deletions.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from coach.judging.alignment.costs import IMPOSSIBLE, WHOLE_BEAT, Costs, Deletions, Emission
from coach.judging.alignment.hypothesis import (
    NEVER,
    BackPointer,
    BeamCells,
    Hypothesis,
    StepKind,
    StruckKey,
)
from coach.judging.alignment.score_arrays import ScoreArrays

# Successors: the hypothesis one key further on, with the hand moved and its clock set.
#
# The tempo follows the playing by exponential smoothing: each gap that was played moves the seconds
# in a beat by a share of what it differs.


# All figures here are our own choice, because none is published for such a clock; they were held
# against the made windows of ``scripts/earcases``.

FASTEST, SLOWEST = 0.75, 1.35
"""One gap changes the seconds in a beat as if it were between these shares of what they were."""
TEMPO_GAIN = 0.35
"""Share of a gap's difference that the tempo takes over, where the gap is long enough,"""
LONG_GAP_BEATS = 0.7
"""longer than so many beats;"""
TEMPO_GAIN_PER_BEAT = 0.5
"""and of a shorter one so much for each beat."""
_new_tuple = tuple.__new__
"""Makes a named tuple in half the time that calling it takes: this is the innermost loop."""
UNPLAYED_S = 1e9
"""A time this long began before the hand had played at all."""


class Successors:
    """Makes hypotheses over one score, where their cells want them."""

    def __init__(self, score: ScoreArrays) -> None:
        self.score = score

    def is_wanted(
        self, hypothesis: Hypothesis, key: StruckKey, target: int, cost: float, cells: BeamCells
    ) -> bool:
        """Whether the hypothesis after a key played for a note would be kept."""
        onset, right, left = self.score.onset[target], hypothesis.right, hypothesis.left
        if self.score.hand[target]:
            left = onset if onset > left else left
        else:
            right = onset if onset > right else right
        total = hypothesis.cost + cost
        return cells.wants(right, left, hypothesis.done | 1 << target, key.at_s, total)

    def play(
        self, hypothesis: Hypothesis, key: StruckKey, target: int, cost: float, skipped: bool,
        cells: BeamCells,
    ) -> None:  # fmt: skip
        """Keep what follows from a key played for a note, rightly or not.

        ``skipped``: its hand left notes out before it.
        """
        score, h = self.score, hypothesis
        at_s = key.at_s
        onset, hand = score.onset[target], score.hand[target]
        right, left, total = h.right, h.left, h.cost + cost
        done, before = h.done | 1 << target, left if hand else right
        if onset > before:
            right, left = (right, onset) if hand else (onset, left)
        if not cells.wants(right, left, done, at_s, total):
            return
        period_s, beat = h.period_s, score.beat[onset]
        right_s, left_s, right_beat, left_beat = h.right_s, h.left_s, h.right_beat, h.left_beat
        right_off, left_off, gap, gap_end = h.right_off, h.left_off, h.gap, h.gap_end
        after, off = before + 1, key.pitch - score.pitch[target]
        if skipped and onset > after and onset > gap_end and beat - score.beat[after] > WHOLE_BEAT:
            gap, gap_end = after, onset
        sets_clock = onset > before or (onset == before and (left_s if hand else right_s) == NEVER)
        if score.small[target]:
            sets_clock = False
        if hand:
            left_off = off
            if sets_clock:
                period_s = _follow_tempo(period_s, beat - left_beat, at_s - left_s)
                left_s, left_beat = at_s, beat
        else:
            right_off = off
            if sets_clock:
                period_s = _follow_tempo(period_s, beat - right_beat, at_s - right_s)
                right_s, right_beat = at_s, beat
        kind = StepKind.WRONG if off else StepKind.MATCH
        cells.keep(
            Hypothesis(
                total, done, right, left, right_s, left_s, right_beat, left_beat, period_s,
                right_off, left_off, h.extra_pitch, h.extra_s, at_s,
                _new_tuple(BackPointer, (h.step, key.number, kind, target)), gap, gap_end,
            )
        )  # fmt: skip

    def ornament(
        self, hypothesis: Hypothesis, key: StruckKey, target: int, cost: float, cells: BeamCells
    ) -> None:
        """Keep what follows from one more key of an ornament that is played freely."""
        step = BackPointer(hypothesis.step, key.number, StepKind.FREE, target)
        cells.put(_stay(hypothesis, cost, key.at_s, step))

    def add_extra(
        self, hypothesis: Hypothesis, key: StruckKey, cost: float, cells: BeamCells
    ) -> None:
        """Keep what follows from a key that the score does not ask for."""
        h = hypothesis
        if cells.wants(h.right, h.left, h.done, h.last_s, h.cost + cost):
            step = BackPointer(h.step, key.number, StepKind.EXTRA, -1)
            new = _stay(h, cost, h.last_s, step)
            new.extra_pitch, new.extra_s = key.pitch, key.at_s
            cells.keep(new)


def _stay(hypothesis: Hypothesis, cost: float, last_s: float, step: BackPointer) -> Hypothesis:
    """The hypothesis after a key that moves no hand."""
    h = hypothesis
    return Hypothesis(
        h.cost + cost, h.done, h.right, h.left, h.right_s, h.left_s, h.right_beat, h.left_beat,
        h.period_s, h.right_off, h.left_off, h.extra_pitch, h.extra_s, last_s, step,
        h.gap, h.gap_end,
    )  # fmt: skip


def _follow_tempo(period_s: float, gap_beats: float, passed_s: float) -> float:
    """Seconds in a beat after one more gap was played in so many seconds."""
    if gap_beats <= 0 or passed_s > UNPLAYED_S:
        return period_s
    played_s, low, high = passed_s / gap_beats, period_s * FASTEST, period_s * SLOWEST
    played_s = low if played_s < low else high if played_s > high else played_s
    gain = TEMPO_GAIN if gap_beats > LONG_GAP_BEATS else TEMPO_GAIN_PER_BEAT * gap_beats
    return period_s + gain * (played_s - period_s)


# Restarts: going back to an earlier place, to play on from there, after a stumble or anew.
#
# As the jumps of Nakamura, Nakamura & Sagayama (2016), "Real-time audio-to-score alignment of music
# performances containing errors and arbitrary repeats and skips", IEEE/ACM TASLP 24, 329-339: any
# onset may follow any other, at a cost; here mostly after a stop or a slip.


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
        for target in self.find_affordable(self.find_targets(key.pitch, front), front, base, room):
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

    def find_affordable(
        self, targets: Sequence[int], front: int, base: float, room: float
    ) -> Sequence[int]:
        """Those that a jump can reach for what may be spent: the farther, the dearer it is.

        The window's first onset is as near from everywhere.
        """
        first = self.score.first[1]
        start, end = bisect_left(targets, first), len(targets)
        if start >= end or base + self._distance_cost(front, targets[start]) <= room:
            return targets
        opening, low = targets[:start], start
        while low < end:
            middle = (low + end) // 2
            if base + self._distance_cost(front, targets[middle]) > room:
                low = middle + 1
            else:
                end = middle
        return [*opening, *targets[low:]]

    def _distance_cost(self, front: int, target: int) -> float:
        """What the way back from the front to a note costs."""
        score, onset = self.score, self.score.onset[target]
        onsets = min(self.costs.jump_onset * (front - onset), self.costs.jump_onsets_most)
        return onsets + self.deletions.leap_cost(score.beat[front] - score.beat[onset])

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


# All figures here are our own choice, because each further way to understand a key takes time; they
# were held against the made windows of ``scripts/earcases``.

MOST_AHEAD = 4
"""How many later notes of its pitch a key may be, with those between left out."""
MOST_DUE = 6
"""How many due notes of a hand a wrong key may be meant for."""
DUE_ONSETS = 6
"""How many onsets behind the hand that is behind a note may still be due."""
ORNAMENT_SEMITONES = 4
"""How far from its written note a key of a free ornament may lie,"""
ORNAMENT_GAP_S = 1.2
"""and how long after the one before it, in the decoder's own time: two beats. What comes after a
stop is no more of it;"""
ORNAMENT_TIMES, LAST_ORNAMENT_BEATS = 2.0, 4.0
"""nor what comes after so many times its written length, which for the last onset is so many
beats."""


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
        if key.at_s - hypothesis.last_s >= ORNAMENT_GAP_S:
            return
        hands = (
            (0, hypothesis.right, hypothesis.right_s),
            (1, hypothesis.left, hypothesis.left_s),
        )
        for hand, front, since_s in hands:
            if not self._may_last(hypothesis, front, key.at_s - since_s):
                continue
            for target in range(score.first[front], score.first[front + 1]):
                if (
                    score.free[target]
                    and score.hand[target] == hand
                    and hypothesis.done >> target & 1
                    and self._may_ornament(key.pitch, target)
                ):
                    self.successors.ornament(hypothesis, key, target, self.costs.free, cells)

    def _may_ornament(self, pitch: int, target: int) -> bool:
        """Whether a key may be of a note's ornament."""
        score = self.score
        if target in score.tremolo:
            return pitch in score.tremolo[target]
        return abs(pitch - score.pitch[target]) <= ORNAMENT_SEMITONES

    def _may_last(self, hypothesis: Hypothesis, front: int, for_s: float) -> bool:
        """Whether an ornament of an onset may still go on after so long."""
        beats = self.score.beat
        written = beats[front + 1] - beats[front] if front + 1 < len(beats) else LAST_ORNAMENT_BEATS
        return for_s < ORNAMENT_TIMES * written * hypothesis.period_s + ORNAMENT_GAP_S

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
