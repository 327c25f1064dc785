"""Every sensible way to understand one more key, given a reading of those before it."""

from __future__ import annotations

from bisect import bisect_left
from typing import NamedTuple

from coach.judging.matching_back import Back
from coach.judging.matching_costs import Costs
from coach.judging.matching_places import Places
from coach.judging.matching_reading import NEVER, Key, Kind, Reading
from coach.judging.matching_score import Layout
from coach.judging.matching_skips import IMPOSSIBLE
from coach.judging.matching_steps import aside

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
