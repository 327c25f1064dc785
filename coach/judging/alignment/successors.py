"""Successors: the hypothesis one key further on, with the hand moved and its clock set.

The tempo follows the playing by exponential smoothing: each gap that was played moves the seconds
in a beat by a share of what it differs.
"""

from __future__ import annotations

from coach.judging.alignment.beam_cells import BeamCells
from coach.judging.alignment.emission import WHOLE_BEAT
from coach.judging.alignment.hypothesis import (
    NEVER,
    BackPointer,
    Hypothesis,
    StepKind,
    StruckKey,
)
from coach.judging.alignment.score_arrays import ScoreArrays

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
