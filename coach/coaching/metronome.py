"""The metronome's marks, and steps along them.

Tempi come in as quarter notes a minute (``qpm``); a mark counts the metre's beats, so a step in
6/8 is taken on the dotted quarter. The 39 marks from 40 to 208 are those of a clockwork metronome
(common practice); neighbours differ by 3.4 to 5.6 %, more than the 2.5 % that a listener can tell
(Friberg and Sundberg 1995), so every step is audible and none is a jump.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from fractions import Fraction
from math import pow

MARKS: tuple[int, ...] = (
    *range(40, 60, 2),
    *range(60, 72, 3),
    *range(72, 120, 4),
    *range(120, 144, 6),
    *range(144, 209, 8),
)
"""Beats a minute, slowest first."""

_STEP = 1.045  # outside the marks: their own middle ratio


def quicker(qpm: float, beat_quarters: Fraction, marks: int = 1) -> float:
    """The tempo so many marks up from ``qpm`` (the first mark above it, and on)."""
    beat = float(beat_quarters)
    bpm = qpm / beat
    at = bisect_right(MARKS, bpm + 1e-6)
    if bpm < MARKS[0] / _STEP or at + marks > len(MARKS):
        return qpm * pow(_STEP, marks)
    return MARKS[at + marks - 1] * beat


def slower(qpm: float, beat_quarters: Fraction, marks: int = 1) -> float:
    """The tempo so many marks down from ``qpm`` (the first mark below it, and on)."""
    beat = float(beat_quarters)
    bpm = qpm / beat
    at = bisect_left(MARKS, bpm - 1e-6)
    if bpm > MARKS[-1] * _STEP or at < marks:
        return qpm / pow(_STEP, marks)
    return MARKS[at - marks] * beat


def marked(qpm: float, beat_quarters: Fraction, marks: int) -> float:
    """So many marks up, or down where negative."""
    step = quicker if marks > 0 else slower
    return step(qpm, beat_quarters, abs(marks)) if marks else qpm
