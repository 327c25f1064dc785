"""Hearing a passage several times and saying where it breaks, without drilling it."""

from __future__ import annotations

from collections.abc import Iterable

from coach.coaching.diagnosis import Evidence, describe_trouble, diagnose
from coach.coaching.model import Trouble
from coach.coaching.observations import observe_transitions
from coach.coaching.windows import PracticeMap
from coach.judging.model import Judgement
from coach.score.model import Score
from coach.score.window import Window

_APART_S = 20.0
"""Seconds between repetitions, so that none counts as old."""


def where_it_breaks(
    score: Score, window: Window, judgements: Iterable[Judgement], qpm: float | None = None
) -> tuple[Trouble, ...]:
    """Every place that may stand at fault, the likeliest first, each with how sure we are.

    The judgements are repetitions of the window or of parts of it, in their order; ``qpm`` is the
    tempo that it is to be played at (None: whatever was played). Unlike a decision's troubles,
    these are also told when they are only suspected: look at ``sure``.
    """
    evidence, practice_map = Evidence(), PracticeMap(score, window)
    heard = (judgement for judgement in judgements if judgement.is_repetition)
    for count, judgement in enumerate(heard):
        evidence.add(observe_transitions(judgement, count * _APART_S), qpm)
    found = diagnose(evidence, practice_map)
    return tuple(describe_trouble(suspect, evidence, practice_map) for suspect in found.suspects)
