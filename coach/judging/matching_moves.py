"""Every sensible way to understand one more key, given a reading of those before it."""

from __future__ import annotations

from bisect import bisect_left

from coach.judging.matching_fit import IMPOSSIBLE, Fit
from coach.judging.matching_reading import NEVER, Key, Kind, Reading, Step

PAUSE_S = 0.25
"""A stop this much longer than the written gap is surely one."""
AHEAD = 3
"""How many later notes of its pitch a key may be, with those between left out."""
REACH = 6
"""How many due notes of a hand a wrong key may be meant for."""


class Moves(Fit):
    """Extends readings over one score."""

    def of(
        self,
        reading: Reading,
        index: int,
        key: Key,
        bound: float,
        width: float,
        careful: bool,
    ) -> tuple[list[Reading], float]:
        """The readings that follow with a cost up to ``bound``, and the bound that they set.

        ``width`` is how far above the best readings are kept where it fits surely.
        """
        out: list[Reading] = []
        base = reading.cost
        best = self._matches(reading, index, key, bound - base, out)
        pause = self._pause(reading, key)
        surely = best < self.costs.surely and not careful and pause < 1.0
        bound = min(bound, base + best + (width if surely else self.costs.width))
        if surely:
            return out, bound
        room = bound - base
        if self.any_free:
            self._free(reading, index, key, out)
        if room >= self.costs.wrong_same:
            self._wrong(reading, index, key, room, out)
        self._extra(reading, index, key, room, out)
        stopped = best > self.costs.doubtful or pause == 1.0
        if stopped and room >= self.costs.jump - self.costs.pause:
            self._jumps(reading, index, key, pause, room, out)
        return out, bound

    def _matches(
        self, reading: Reading, index: int, key: Key, room: float, out: list[Reading]
    ) -> float:
        """The key as a note of its pitch: what the best of these costs."""
        layout, at = self.layout, key.at
        done, ahead, best = reading.done, 0, IMPOSSIBLE
        targets = layout.of_pitch.get(key.pitch, ())
        low = layout.first[max(min(reading.right, reading.left) - REACH, 0)]
        for at_rank in range(bisect_left(targets, low), len(targets)):
            target = targets[at_rank]
            if done >> target & 1:
                continue
            onset = layout.onset[target]
            if onset > (reading.left if layout.hand[target] else reading.right):
                ahead += 1
                if ahead > AHEAD:
                    break
            missed = self.advance(reading, target)
            if missed > room:
                continue
            timing = self.timing(reading, target, at)
            if timing > self.costs.surely:
                timing = self.excused(reading, target, key, missed, timing)
            cost = timing + missed
            if cost < best:
                best = cost
            if cost <= room:
                out.append(self._play(reading, index, at, target, Kind.MATCH, cost, 0, missed > 0))
        return best

    def _play(
        self, reading: Reading, index: int, at: float, target: int, kind: Kind, cost: float,
        off: int, skipped: bool,
    ) -> Reading:  # fmt: skip
        """The reading after a key played for a note; ``skipped``: its hand left notes out."""
        layout, done = self.layout, reading.done | 1 << target
        onset, hand = layout.onset[target], layout.hand[target]
        right, left, period = reading.right, reading.left, reading.period_s
        right_s, left_s = reading.right_s, reading.left_s
        right_beat, left_beat = reading.right_beat, reading.left_beat
        right_off, left_off = reading.right_off, reading.left_off
        beat = layout.beat[onset]
        small = layout.small[target]
        gap, gap_end = reading.gap, reading.gap_end
        after = (left if hand else right) + 1
        if skipped and onset > after and onset > gap_end and beat - layout.beat[after] > 0.9:
            gap, gap_end = after, onset
        if hand:
            left_off = off
            if onset > left or (onset == left and left_s == NEVER):
                left = onset
                if not small:
                    period = _tempo(period, beat - left_beat, at - left_s)
                    left_s, left_beat = at, beat
        else:
            right_off = off
            if onset > right or (onset == right and right_s == NEVER):
                right = onset
                if not small:
                    period = _tempo(period, beat - right_beat, at - right_s)
                    right_s, right_beat = at, beat
        return Reading(
            reading.cost + cost, done, right, left, right_s, left_s, right_beat, left_beat, period,
            right_off, left_off, reading.stray, reading.stray_s, at,
            (reading.step, index, kind, target), gap, gap_end,
        )  # fmt: skip

    def _free(self, reading: Reading, index: int, key: Key, out: list[Reading]) -> None:
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
                    out.append(_aside(reading, 0.3, key, step))

    def _wrong(
        self, reading: Reading, index: int, key: Key, room: float, out: list[Reading]
    ) -> None:
        """A wrong key for a note that is due now."""
        costs, pitch = self.costs, self.layout.pitch
        limit = min(costs.extra + costs.missed + costs.skip + 1, room)
        for hand, front, last in (
            (0, reading.right, reading.right_off), (1, reading.left, reading.left_off)
        ):  # fmt: skip
            notes = self.of_hand[hand]
            seen = 0
            for rank in range(self.due_rank[hand][front], len(notes)):
                target = notes[rank]
                if reading.done >> target & 1:
                    continue
                seen += 1
                if seen > REACH:
                    break
                off = key.pitch - pitch[target]
                if off == 0:
                    continue
                cost = self._wrong_pitch(off, last)
                if cost < limit:
                    cost += costs.wrong_timing * self.timing(reading, target, key.at)
                    if cost < limit:
                        missed = self.advance(reading, target)
                        if cost + missed <= room:
                            cost += missed
                            out.append(
                                self._play(
                                    reading, index, key.at, target, Kind.WRONG, cost, off,
                                    missed > 0,
                                )
                            )  # fmt: skip

    def _wrong_pitch(self, off: int, last: int) -> float:
        costs, size = self.costs, abs(off)
        if off == last:
            return costs.wrong_same
        if size <= 4 and off * last > 0:
            return costs.wrong_shift
        if size <= 2:
            return costs.wrong_near
        if size == 12:
            return costs.wrong_octave
        if size <= 5:
            return costs.wrong_near + costs.wrong_far * (size - 2)
        return costs.wrong_wild

    def _extra(
        self, reading: Reading, index: int, key: Key, room: float, out: list[Reading]
    ) -> None:
        """A key that the score does not ask for; a soft short one costs less."""
        cost = self.costs.brush if key.soft else self.costs.extra
        if cost <= room:
            new = _aside(reading, cost, key, (reading.step, index, Kind.EXTRA, -1))
            new.stray, new.stray_s, new.last_s = key.pitch, key.at, reading.last_s
            out.append(new)

    def _pause(self, reading: Reading, key: Key) -> float:
        """Whether the pianist stopped before this key: 0 not at all, 1 surely."""
        front = max(reading.right, reading.left)
        beats = self.layout.beat
        usual = beats[front + 1] - beats[front] if front + 1 < len(beats) else 0.5
        pause = key.at - reading.last_s - usual * reading.period_s
        return min(max(pause / PAUSE_S, 0.0), 1.0)

    def _jumps(
        self, reading: Reading, index: int, key: Key, pause: float, room: float,
        out: list[Reading],
    ) -> None:  # fmt: skip
        """Back to an earlier onset, to play on from there: a stumble or a restart."""
        layout, costs = self.layout, self.costs
        front = max(reading.right, reading.left)
        base = costs.jump - costs.pause * pause
        if reading.step is not None and reading.step[2] in (Kind.WRONG, Kind.EXTRA):
            base -= costs.erred
        for target in layout.of_pitch.get(key.pitch, ()):
            if layout.onset[target] > front:
                break
            self._jump(reading, index, key, target, base, room, out)
        if pause == 1.0:
            for target in self._again(front):
                off = key.pitch - layout.pitch[target]
                if off:
                    cost = base + self._wrong_pitch(off, 0)
                    self._jump(reading, index, key, target, cost, room, out)

    def _again(self, front: int) -> list[int]:
        """Notes that a new attempt may begin with: the window's first, and the last few."""
        first = self.layout.first
        recent = range(first[max(front - 3, 0)], first[front + 1])
        return [*range(first[1]), *(note for note in recent if note >= first[1])]

    def _jump(
        self, reading: Reading, index: int, key: Key, target: int, cost: float, room: float,
        out: list[Reading],
    ) -> None:  # fmt: skip
        """Back to a note's onset, the key played for it, rightly or not."""
        layout, at = self.layout, key.at
        onset = layout.onset[target]
        first = layout.first[onset]
        if not reading.done >> first:
            return
        if onset > 0:
            cost += min(0.15 * (max(reading.right, reading.left) - onset), 2.0)
        cost += self._owed(reading, onset)
        if cost > room:
            return
        off = key.pitch - layout.pitch[target]
        offs = (0, off) if layout.hand[target] else (off, 0)
        beat = layout.beat[onset]
        kind = Kind.WRONG if off else Kind.MATCH
        step = ((reading.step, index, Kind.JUMP, first), index, kind, target)
        out.append(
            Reading(
                reading.cost + cost, reading.done & (1 << first) - 1 | 1 << target, onset, onset,
                at, at, beat, beat, reading.period_s, *offs, 0, NEVER, at, step,
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


def _aside(reading: Reading, cost: float, key: Key, step: Step) -> Reading:
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
    rate = min(max(passed_s / gap, period * 0.75), period * 1.35)
    return period + min(0.35, 0.5 * gap) * (rate - period)
