"""Ambiguity: where another hypothesis explains the same playing about as well, it is said."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from coach.judging.alignment.hypothesis import Hypothesis
from coach.judging.alignment.score_arrays import ScoreArrays
from coach.judging.alignment.traceback import Labels, read_labels
from coach.playing.notes import PlayedNote

UNSURE_BELOW = 1.5
"""Two hypotheses whose costs differ by less are about equally good, in nats. Own
choice, because it is 4.5 to 1 at most: nobody should be told of a mistake at such odds."""
CLOSED_UP = 0.75
"""Time has closed up over a gap that went by faster than the one before it, by this
factor. Own choice, because over a gap that was waited through it would be about 1."""
SAME_BEATS = 0.01
"""Gaps that differ by less are equal, as reckoned in floating point."""


def is_unsure(
    score: ScoreArrays, take: Sequence[PlayedNote], hypotheses: list[tuple[float, Hypothesis]],
    labels: Labels,
) -> bool:  # fmt: skip
    """Whether another hypothesis that says something else is about as good."""
    best = hypotheses[0][0]
    return any(
        cost - best < UNSURE_BELOW and read_labels(score, other) != labels
        for cost, other in hypotheses[1:]
    ) or _has_skipped_one_of_equals(score, take, labels)


def _has_skipped_one_of_equals(
    score: ScoreArrays, take: Sequence[PlayedNote], labels: Labels
) -> bool:
    """Whether what was skipped could as well be the onset before it, or the one after.

    Of equal chords in equal time, one was left out and time closed up: nobody can hear which.
    """
    when: dict[int, float] = {}
    for (_, note), key in zip(labels, take, strict=True):
        if note >= 0:
            when[score.onset[note]] = key.onset_s
    played = sorted(when)
    for at, (before, after) in enumerate(pairwise(played)):
        if after - before > 1 and (
            _are_alike(score, before, after - 1) or _are_alike(score, before + 1, after)
        ):
            pace = _beat_period(score, when, *played[at - 1 : at + 1]) if at else 0.0
            if _beat_period(score, when, before, after) < CLOSED_UP * pace:
                return True
    return False


def _are_alike(score: ScoreArrays, one: int, other: int) -> bool:
    """Whether two onsets have the same notes, and the same time after the onset before."""
    if one == 0:
        return False
    notes = [
        [(score.pitch[n], score.hand[n]) for n in range(score.first[at], score.first[at + 1])]
        for at in (one, other)
    ]
    gaps = [score.beat[at] - score.beat[at - 1] for at in (one, other)]
    return notes[0] == notes[1] and abs(gaps[0] - gaps[1]) < SAME_BEATS


def _beat_period(score: ScoreArrays, when: dict[int, float], before: int, after: int) -> float:
    """Seconds in a beat between two onsets played."""
    return (when[after] - when[before]) / (score.beat[after] - score.beat[before])
