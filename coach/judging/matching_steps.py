"""Readings one key further on: the hand that played is moved, and its clock with it."""

from __future__ import annotations

from coach.judging.matching_fit import Fit
from coach.judging.matching_places import Places
from coach.judging.matching_reading import NEVER, Key, Kind, Reading, Step


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
