"""How far a repetition came: to the last note, or to where it broke off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from coach.judging.facts import Family, Fault, Label, Matching, ScoreLabel
from coach.score.window import Excerpt

_BROKE_OFF = 2
"""Onsets left silent at the end from which it was a breaking off; one alone is a missed note."""


def with_reach(excerpt: Excerpt, matching: Matching) -> Matching:
    """The matching with the notes after a breaking off marked as not reached."""
    last = last_struck(excerpt, matching.score)
    silent = len(excerpt.onsets_quarters) - 1 - last
    if silent < _BROKE_OFF and last >= 0:
        return matching
    labels = tuple(
        label._replace(reached=False) if number > last else label
        for label, number in zip(matching.score, excerpt.onset_numbers, strict=True)
    )
    return replace(matching, score=labels)


def is_complete(excerpt: Excerpt, matching: Matching) -> bool:
    """Whether something was struck for the last written onset."""
    return last_struck(excerpt, matching.score) == len(excerpt.onsets_quarters) - 1


def last_struck(excerpt: Excerpt, labels: Sequence[ScoreLabel]) -> int:
    """The number of the last onset that something was struck for, -1 for none."""
    backwards = zip(reversed(labels), reversed(excerpt.onset_numbers), strict=True)
    return next((number for label, number in backwards if label.label is not Label.MISSED), -1)


def before_the_break(
    excerpt: Excerpt, labels: Sequence[ScoreLabel], faults: Sequence[Fault]
) -> tuple[Fault, ...]:
    """The faults but for those that only say that the playing ended where it did."""
    last = last_struck(excerpt, labels)
    if last == len(excerpt.onsets_quarters) - 1:
        return tuple(faults)
    end = excerpt.onsets_quarters[max(last, 0)]
    return tuple(fault for fault in faults if not _is_break(fault, end))


def _is_break(fault: Fault, end_quarters: Fraction) -> bool:
    return fault.family is Family.MISSING and fault.onset_quarters >= end_quarters
