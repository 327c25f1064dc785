"""How far a repetition came: to the last note, or to where it broke off."""

from __future__ import annotations

from dataclasses import replace

from coach.judging.facts import Label, Matching
from coach.score.window import Excerpt

_BROKE_OFF = 2
"""Onsets left silent at the end from which it was a breaking off; one alone is a missed note."""


def with_reach(excerpt: Excerpt, matching: Matching) -> Matching:
    """The matching with the notes after a breaking off marked as not reached."""
    last = _last_struck(excerpt, matching)
    silent = len(excerpt.onsets_quarters) - 1 - last
    if silent < _BROKE_OFF and last >= 0:
        return matching
    labels = tuple(
        replace(label, reached=False) if number > last else label
        for label, number in zip(matching.score, excerpt.onset_numbers, strict=True)
    )
    return replace(matching, score=labels)


def is_complete(excerpt: Excerpt, matching: Matching) -> bool:
    """Whether something was struck for the last written onset."""
    return _last_struck(excerpt, matching) == len(excerpt.onsets_quarters) - 1


def _last_struck(excerpt: Excerpt, matching: Matching) -> int:
    """The number of the last onset that something was struck for, -1 for none."""
    return max(
        (
            number
            for label, number in zip(matching.score, excerpt.onset_numbers, strict=True)
            if label.label is not Label.MISSED
        ),
        default=-1,
    )
