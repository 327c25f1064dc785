"""Transitions of the hidden Markov model: every sensible way to understand one more key, and costs.

A key may be a note of its pitch (a match), a wrong key for a note that is due (a substitution), a
key too many (an insertion), one more key of a free ornament, or the first after a jump back. Notes
passed over on the way are deletions.

Each kind of event has a cost (:class:`Costs`), a negative log likelihood up to a constant, in nats:
a sum that is lower by 3 means some twenty times likelier. All are our own choice, because none is
published for a learner's playing: they were set by a search over seeded cases
(``scripts/earcases``).
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from math import log
from typing import NamedTuple

from coach.judging.alignment.hypothesis import (
    NEVER,
    BackPointer,
    BeamCells,
    Hypothesis,
    StepKind,
    StruckKey,
)
from coach.judging.alignment.score_arrays import ScoreArrays

WILD_SEMITONES = 13
"""A key so far off, or farther, is wrong no matter how far."""
NEAR_SEMITONES = 2
"""A wrong key up to a tone away is a neighbour."""
FOURTH_SEMITONES = 5
"""Up to here a wrong key costs more with each semitone; beyond, it is no slip of a finger."""
DEAR_NOTES = 4
"""So many notes left out at one place cost the full price each; own choice, because after that
whole beats are skipped."""
IMPOSSIBLE = 99.0
"""More than any hypothesis that is kept may cost."""


@dataclass(frozen=True)
class Costs:
    """One number for each kind of event."""

    skip: float = 1.2
    """Leaving something out, whatever its size."""
    missed: float = 2.4
    """Each note left out, the first ``DEAR_NOTES``."""
    missed_many: float = 1.2
    """Each further one: whole beats are skipped."""
    missed_most: float = 8.0
    """The most that one gap costs: after it, a lost hypothesis finds its place again."""
    far: float = 2.0
    """Each time that a leap, ahead or back, grows e times longer than four beats."""
    lost: float = 10.0
    """A gap that costs more is taken for a place lost and found again,"""
    found: float = 2.0
    """which costs this much, whatever the time."""
    shared: float = 0.2
    """Each note left out where the other hand has skipped too."""
    end: float = 1.6
    """Breaking off before the last note: as dear as time that closes up over a beat, or nearly."""
    enter: float = 2.5
    """Coming in after the first note: rarer than breaking off."""
    order: float = 0.6
    """A note that comes after a later one of its hand."""
    extra: float = 5.3
    """A key too many."""
    brush: float = 2.5
    """A key too many that is soft and short."""
    wrong_near: float = 5.0
    """A wrong key up to a tone away."""
    wrong_far: float = 0.7
    """Each further semitone, up to a fourth."""
    wrong_octave: float = 3.4
    wrong_wild: float = 7.5
    """Any other wrong key."""
    wrong_same: float = 1.0
    """A wrong key as far off as the hand's last: the hand lies in a shifted position."""
    wrong_shift: float = 2.0
    """A wrong key off in the same direction as the hand's last."""
    wrong_timing: float = 1.0
    """How much the time of a wrong key counts."""
    wrong_over: float = 1.0
    """A wrong key may cost so much more than a key too many with its note left out."""
    free: float = 0.3
    """One more key of an ornament that is played freely."""
    corrected: float = 1.0
    """The right key after a wrong one beside it."""
    closed: float = 1.5
    """Time that closes up over a skipped beat."""
    closed_part: float = 3.0
    """Time that closes up over less than a beat."""
    closed_off: float = 1.0
    """Going on elsewhere than on a beat after it: the eye that skips lands on a beat."""
    together: float = 0.3
    """A skip in which this hand follows the other."""
    jump: float = 9.4
    """Going back to an earlier place."""
    jump_onset: float = 0.15
    """Each onset gone back over,"""
    jump_onsets_most: float = 2.0
    """and the most that they cost together."""
    pause: float = 4.5
    """How much of it a pause before it takes off."""
    erred: float = 1.0
    """How much of it a wrong key just before takes off: who has slipped goes back."""
    late: float = 4.0
    """The most that coming late costs."""
    early: float = 5.5
    """The most that coming early costs."""
    other: float = 0.3
    """How much the worse of the two hands' clocks counts."""
    spread_s: float = 0.03
    """Spread of notes meant together, at the least."""
    spread_share: float = 0.1
    """The same for each beat between the two nearest onsets: where those are far apart a chord
    may be loose, and where a beat is short 30 ms are much of it."""
    give: float = 0.16
    """Spread of a gap in time, as a share of it."""
    surely: float = 1.2
    """A note that fits better than this needs no other explanation."""
    doubtful: float = 2.5
    """A note that fits worse than this may be a jump back."""
    beam: int = 30
    """How many hypotheses are kept,"""
    width: float = 15.0
    """and how much more than the best one they may cost."""

    def list_deletion_costs(self, notes: int) -> list[float]:
        """What leaving out none, one, two ... notes at one place costs, up to so many notes."""
        out = []
        for count in range(notes + 1):
            many = max(count - DEAR_NOTES, 0)
            cost = self.skip + self.missed * (count - many) + self.missed_many * many
            out.append(min(cost, self.missed_most))
        return out

    @cached_property
    def wrong_by_size(self) -> list[float]:
        """What a wrong key costs by the semitones that it is off, up to ``WILD_SEMITONES``."""
        octave = WILD_SEMITONES - 1
        near = [self.wrong_near] * (NEAR_SEMITONES + 1)
        farther = [
            self.wrong_near + self.wrong_far * more
            for more in range(1, FOURTH_SEMITONES - NEAR_SEMITONES + 1)
        ]
        wild = [self.wrong_wild] * (octave - FOURTH_SEMITONES - 1)
        return [*near, *farther, *wild, self.wrong_octave]


COSTS = Costs()
"""The costs that Keyhole aligns with."""


# Emission cost: how badly a struck key fits a note, by its pitch and by its time.
#
# Times cost as under a normal distribution up to 1.5 standard deviations and in proportion beyond
# (Huber 1964, Ann. Math. Stat. 35, 73-101), up to a most: one late note is no proof of another
# place.


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


# Deletion cost: what the notes cost that a hypothesis leaves out, on a hand's way and at the end.
#
# A pianist skips places, not single notes: so one skip costs a sum once and little more for each
# note, as an affine gap does in sequence alignment (Gotoh 1982, J. Mol. Biol. 162, 705-708).


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
