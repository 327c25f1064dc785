"""What the notes cost that a reading leaves out: on a hand's way, and at the end.

How well a key fits a note, given a reading: by its pitch, and by its time.

Readings one key further on: the hand that played is moved, and its clock with it.

Going back to an earlier place, to play on from there: a stumble or a restart.

Every sensible way to understand one more key, given a reading of those before it.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from itertools import pairwise
from math import log
from typing import NamedTuple

from coach.judging.alignment.beam_cells import Places
from coach.judging.alignment.costs import WILD, Costs
from coach.judging.alignment.hypothesis import NEVER, Key, Kind, Reading, Step
from coach.judging.alignment.score_arrays import Layout

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


class Steps(Fit):
    """Builds readings over one score, where a place wants them."""

    def wanted(self, reading: Reading, target: int, at: float, cost: float, places: Places) -> bool:
        """Whether the reading after a key played for a note would be kept."""
        onset, right, left = self.layout.onset[target], reading.right, reading.left
        if self.layout.hand[target]:
            left = onset if onset > left else left
        else:
            right = onset if onset > right else right
        return places.wants(right, left, reading.done | 1 << target, at, reading.cost + cost)

    def play(
        self, reading: Reading, index: int, at: float, target: int, kind: Kind, cost: float,
        off: int, skipped: bool, places: Places,
    ) -> None:  # fmt: skip
        """The reading after a key played for a note; ``skipped``: its hand left notes out."""
        layout, r = self.layout, reading
        onset, hand = layout.onset[target], layout.hand[target]
        right, left, total = r.right, r.left, r.cost + cost
        done, before = r.done | 1 << target, left if hand else right
        if onset > before:
            right, left = (right, onset) if hand else (onset, left)
        if not places.wants(right, left, done, at, total):
            return
        period, beat = r.period_s, layout.beat[onset]
        right_s, left_s, right_beat, left_beat = r.right_s, r.left_s, r.right_beat, r.left_beat
        right_off, left_off, gap, gap_end = r.right_off, r.left_off, r.gap, r.gap_end
        after = before + 1
        if skipped and onset > after and onset > gap_end and beat - layout.beat[after] > 0.9:
            gap, gap_end = after, onset
        moves = onset > before or (onset == before and (left_s if hand else right_s) == NEVER)
        if layout.small[target]:
            moves = False
        if hand:
            left_off = off
            if moves:
                period = _tempo(period, beat - left_beat, at - left_s)
                left_s, left_beat = at, beat
        else:
            right_off = off
            if moves:
                period = _tempo(period, beat - right_beat, at - right_s)
                right_s, right_beat = at, beat
        places.keep(
            Reading(
                total, done, right, left, right_s, left_s, right_beat, left_beat, period,
                right_off, left_off, r.stray, r.stray_s, at,
                (r.step, index, kind, target), gap, gap_end,
            )
        )  # fmt: skip


def aside(reading: Reading, cost: float, key: Key, step: Step) -> Reading:
    """The reading after a key that moves no hand."""
    r = reading
    return Reading(
        r.cost + cost, r.done, r.right, r.left, r.right_s, r.left_s, r.right_beat, r.left_beat,
        r.period_s, r.right_off, r.left_off, r.stray, r.stray_s, key.at, step,
        r.gap, r.gap_end,
    )  # fmt: skip


def _tempo(period: float, gap: float, passed_s: float) -> float:
    """Seconds in a beat after one more gap was played in so many seconds."""
    if gap <= 0 or passed_s > 1e9:
        return period
    rate, low, high = passed_s / gap, period * 0.75, period * 1.35
    rate = low if rate < low else high if rate > high else rate
    return period + (0.35 if gap > 0.7 else 0.5 * gap) * (rate - period)


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


AHEAD = 4
"""How many later notes of its pitch a key may be, with those between left out."""
REACH = 6
"""How many due notes of a hand a wrong key may be meant for."""


class Ways(NamedTuple):
    """A key to be understood, and in how many ways."""

    key: Key
    at: int
    """The key's index in the take."""
    surely: float
    """A fit that costs less needs no other explanation."""
    sure: float
    """How far above the best readings are kept where it fits surely,"""
    wide: float
    """and where it does not."""


class Moves(Back):
    """Extends readings over one score."""

    def __init__(self, layout: Layout, costs: Costs, most_back: int | None = None) -> None:
        super().__init__(layout, costs, most_back)
        first = layout.first
        self.low = [first[onset - REACH if onset > REACH else 0] for onset in range(len(first))]
        """The first note that may still be due where the hand behind has come to an onset."""

    def of(self, reading: Reading, ways: Ways, bound: float, places: Places) -> float:
        """Keep the readings that follow with a cost up to ``bound``; the bound that they set."""
        key, index, surely, sure, wide = ways
        base = reading.cost
        pause = self.pause(reading, key)
        if pause == 1.0:
            surely = NEVER
        best = self._matches(reading, ways, surely, bound - base, places)
        most = base + best + (sure if best < surely else wide)
        bound = most if most < bound else bound
        if best < surely:
            return bound
        room = bound - base
        if self.any_free:
            self._free(reading, index, key, places)
        if room >= self.costs.wrong_same:
            self._wrong(reading, index, key, room, places)
        self._extra(reading, index, key, room, places)
        stopped = best > self.costs.doubtful or pause == 1.0
        if stopped and room >= self.costs.jump - self.costs.pause - self.costs.erred:
            self.jumps(reading, index, key, pause, room, places)
        return bound

    def _matches(
        self, reading: Reading, ways: Ways, surely: float, room: float, places: Places
    ) -> float:
        """The key as a note of its pitch: what the best of these costs."""
        key, index, _, sure, wide = ways
        layout, at, fits = self.layout, key.at, self.costs.surely
        done, ahead, best = reading.done, 0, IMPOSSIBLE
        right, left = reading.right, reading.left
        targets = layout.of_pitch.get(key.pitch, ())
        low = self.low[right if right < left else left]
        for rank in range(bisect_left(targets, low), len(targets)):
            target = targets[rank]
            if done >> target & 1:
                continue
            if layout.onset[target] > (left if layout.hand[target] else right):
                ahead += 1
                if ahead > AHEAD:
                    break
            missed = self.advance(reading, target)
            if missed > room:
                continue
            timing = self.timing(reading, target, at)
            if timing > fits:
                timing = self.excused(reading, target, key, missed, timing)
            cost = timing + missed
            if cost < best:
                best = cost
                most = cost + (sure if cost < surely else wide)
                room = most if most < room else room
            if cost <= room:
                self.play(reading, index, at, target, Kind.MATCH, cost, 0, missed > 0, places)
        return best

    def _free(self, reading: Reading, index: int, key: Key, places: Places) -> None:
        """One more key of an ornament that is played freely."""
        layout = self.layout
        for hand, front in ((0, reading.right), (1, reading.left)):
            for target in range(layout.first[front], layout.first[front + 1]):
                if (
                    layout.free[target]
                    and layout.hand[target] == hand
                    and reading.done >> target & 1
                    and abs(key.pitch - layout.pitch[target]) <= 4
                ):
                    step = (reading.step, index, Kind.FREE, target)
                    _put(aside(reading, 0.3, key, step), places)

    def _wrong(self, reading: Reading, index: int, key: Key, room: float, places: Places) -> None:
        """A wrong key for a note that is due now."""
        costs = self.costs
        for hand, front, last in (
            (0, reading.right, reading.right_off), (1, reading.left, reading.left_off)
        ):  # fmt: skip
            most = room - (costs.wrong_same if last else self.least_wrong)
            if most >= 0:
                self._wrong_by(hand, front, last, reading, index, key, room, most, places)

    def _wrong_by(
        self, hand: int, front: int, last: int, reading: Reading, index: int, key: Key,
        room: float, most: float, places: Places,
    ) -> None:  # fmt: skip
        """The same for one hand; the notes that it left out cost up to ``most``."""
        layout, done, at, pitch = self.layout, reading.done, key.at, key.pitch
        pitches, onsets, notes = layout.pitch, layout.onset, self.of_hand[hand]
        limit = self.most_wrong if self.most_wrong < room else room
        seen = before = 0
        onset, missed = front, 0.0
        for rank in range(self.due_rank[hand][front], len(notes)):
            target = notes[rank]
            if done >> target & 1:
                continue
            if onsets[target] > onset:
                onset, before = onsets[target], seen
                missed = self.passed(reading, hand, front, onset, before) if before else 0.0
                if missed > most:
                    break
            seen += 1
            if seen > REACH:
                break
            off = pitch - pitches[target]
            if off == 0:
                continue
            cost = self.wrong_pitch(off, last)
            if cost >= limit or cost + missed > room:
                continue
            if not self.wanted(reading, target, at, cost + missed, places):
                continue
            cost += self.costs.wrong_timing * self.timing(reading, target, at)
            if cost < limit and cost + missed <= room:
                total = cost + missed
                self.play(reading, index, at, target, Kind.WRONG, total, off, before > 0, places)

    def _extra(self, reading: Reading, index: int, key: Key, room: float, places: Places) -> None:
        """A key that the score does not ask for; a soft short one costs less."""
        cost = self.costs.brush if key.soft else self.costs.extra
        r = reading
        if cost <= room and places.wants(r.right, r.left, r.done, r.last_s, r.cost + cost):
            new = aside(reading, cost, key, (reading.step, index, Kind.EXTRA, -1))
            new.stray, new.stray_s, new.last_s = key.pitch, key.at, reading.last_s
            places.keep(new)


def _put(new: Reading, places: Places) -> None:
    if places.wants(new.right, new.left, new.done, new.last_s, new.cost):
        places.keep(new)
