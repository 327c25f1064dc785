"""How far a repetition came: to the last note, or to where it broke off."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from coach.judging.facts import Label, Matching
from coach.score.window import Excerpt

_BROKE_OFF = 2
"""Onsets left silent at the end from which it was a breaking off; one alone is a missed note."""


def with_reach(excerpt: Excerpt, matching: Matching) -> Matching:
    """The matching with the notes after a breaking off marked as not reached."""
    struck = _struck(excerpt, matching)
    written = sorted({note.onset_quarters for note in excerpt.notes})
    last = max(struck, default=None)
    silent = [onset for onset in written if last is None or onset > last]
    if len(silent) < _BROKE_OFF and last is not None:
        return matching
    labels = tuple(
        replace(label, reached=False)
        if excerpt.notes[label.note].onset_quarters in silent
        else label
        for label in matching.score
    )
    return replace(matching, score=labels)


def is_complete(excerpt: Excerpt, matching: Matching) -> bool:
    """Whether something was struck for the last written onset."""
    return excerpt.notes[-1].onset_quarters in _struck(excerpt, matching)


def _struck(excerpt: Excerpt, matching: Matching) -> set[Fraction]:
    return {
        excerpt.notes[label.note].onset_quarters
        for label in matching.score
        if label.label is not Label.MISSED
    }
