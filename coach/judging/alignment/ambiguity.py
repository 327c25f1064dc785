"""Doubt: where another reading of the same playing is about as good, it is said."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from coach.judging.alignment.hypothesis import Reading
from coach.judging.alignment.score_arrays import Layout
from coach.judging.alignment.traceback import Trace
from coach.judging.model import Label
from coach.playing.notes import PlayedNote

UNSURE_BELOW = 1.5
"""Two readings whose costs differ by less are about equally good: 4.5 to 1 at most."""
CLOSED_UP = 0.75
"""Time has closed up over a gap that went by faster than the one before it, by this factor."""

Labels = list[tuple[Label, int]]
"""Label and note (-1: none) of each key in order."""


def told(layout: Layout, reading: Reading) -> Labels:
    """What a reading says of each key."""
    trace = Trace(layout)
    trace.follow(reading)
    return trace.keys


def is_unsure(
    layout: Layout, take: Sequence[PlayedNote], readings: list[tuple[float, Reading]],
    labels: Labels,
) -> bool:  # fmt: skip
    """Whether another reading that says something else is about as good."""
    best = readings[0][0]
    return any(
        cost - best < UNSURE_BELOW and told(layout, other) != labels for cost, other in readings[1:]
    ) or _one_of_equals_skipped(layout, take, labels)


def _one_of_equals_skipped(layout: Layout, take: Sequence[PlayedNote], labels: Labels) -> bool:
    """Whether what was skipped could as well be the onset before it, or the one after.

    Of equal chords in equal time, one was left out and time closed up: nobody can hear which.
    """
    when: dict[int, float] = {}
    for (_, note), key in zip(labels, take, strict=True):
        if note >= 0:
            when[layout.onset[note]] = key.onset_s
    played = sorted(when)
    for at, (before, after) in enumerate(pairwise(played)):
        if after - before > 1 and (
            _alike(layout, before, after - 1) or _alike(layout, before + 1, after)
        ):
            pace = _pace(layout, when, *played[at - 1 : at + 1]) if at else 0.0
            if _pace(layout, when, before, after) < CLOSED_UP * pace:
                return True
    return False


def _alike(layout: Layout, one: int, other: int) -> bool:
    """Whether two onsets have the same notes, and the same time after the onset before."""
    if one == 0:
        return False
    notes = [
        [(layout.pitch[n], layout.hand[n]) for n in range(layout.first[at], layout.first[at + 1])]
        for at in (one, other)
    ]
    gaps = [layout.beat[at] - layout.beat[at - 1] for at in (one, other)]
    return notes[0] == notes[1] and abs(gaps[0] - gaps[1]) < 0.01


def _pace(layout: Layout, when: dict[int, float], before: int, after: int) -> float:
    """Seconds in a beat between two onsets played."""
    return (when[after] - when[before]) / (layout.beat[after] - layout.beat[before])
