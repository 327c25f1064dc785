"""How far a repetition came: from its first note or from later, to its last or to a break."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from coach.judging.model import Cause, Family, Fault, Label, Matching, ScoreLabel
from coach.score.window import Excerpt

_OUTSIDE = 2
"""Onsets left silent at the beginning from which the window was entered in its middle. The first
alone is a missed note, unless all after it is right: then it was gone on from there, as after a
stop on the first note (own choice). At the end one alone is a break: the repetition is not clean
for it, but nothing tells that the note would have been wrong."""


def mark_unreached(excerpt: Excerpt, matching: Matching) -> Matching:
    """The matching with the notes marked as not reached that lie before and after what was played.

    So are those of an onset that was only partly struck where the playing broke off in it, and
    small print that was left out, which is the player's choice.
    """
    matching = _leave_out_small_print(excerpt, matching)
    low, high = _find_entry(matching.score, excerpt), _find_break(matching.score, excerpt)
    if low is None and high is None:
        return matching
    last = len(excerpt.onsets_quarters)
    low, high = low or 0, last if high is None else high
    labels = tuple(
        label._replace(reached=False)
        if number < low or (number >= high and label.label is Label.MISSED)
        else label
        for label, number in zip(matching.score, excerpt.onset_numbers, strict=True)
    )
    return replace(matching, score=labels)


def _leave_out_small_print(excerpt: Excerpt, matching: Matching) -> Matching:
    if not any(note.is_small_print for note in excerpt.notes):
        return matching
    labels = tuple(
        label._replace(reached=False)
        if label.label is Label.MISSED and excerpt.notes[label.note].is_small_print
        else label
        for label in matching.score
    )
    return replace(matching, score=labels)


def _find_entry(labels: Sequence[ScoreLabel], excerpt: Excerpt) -> int | None:
    """The onset at which the window was entered; None where that was its beginning."""
    first = first_struck(excerpt, labels)
    least = 1 if _is_right_from(first, labels, excerpt) else _OUTSIDE
    return first if least <= first < len(excerpt.onsets_quarters) else None


def _is_right_from(first: int, labels: Sequence[ScoreLabel], excerpt: Excerpt) -> bool:
    """Whether all notes from an onset on are right, as far as was played."""
    last = last_struck(excerpt, labels)
    return all(
        label.label is Label.MATCHED
        for label, number in zip(labels, excerpt.onset_numbers, strict=True)
        if first <= number <= last
    )


def _find_break(labels: Sequence[ScoreLabel], excerpt: Excerpt) -> int | None:
    """The first onset that was not reached, or only partly; None where the end was."""
    last = last_struck(excerpt, labels)
    if last >= 0 and last == len(excerpt.onsets_quarters) - 1:
        return None
    is_whole = all(
        label.label is not Label.MISSED
        for label, number in zip(labels, excerpt.onset_numbers, strict=True)
        if number == last
    )
    return last + 1 if is_whole else last


def stopped_before(excerpt: Excerpt, labels: Sequence[ScoreLabel]) -> Fraction | None:
    """The onset that the playing broke off before; None where it went on to the end."""
    broken = _find_break(labels, excerpt)
    return None if broken is None else excerpt.onsets_quarters[broken]


def entered_at(excerpt: Excerpt, labels: Sequence[ScoreLabel]) -> Fraction | None:
    """The onset at which the window was entered; None where that was its beginning."""
    entry = _find_entry(labels, excerpt)
    return None if entry is None else excerpt.onsets_quarters[entry]


def is_complete(excerpt: Excerpt, matching: Matching) -> bool:
    """Whether it went from the window's beginning to something struck for its last onset."""
    at_end = last_struck(excerpt, matching.score) == len(excerpt.onsets_quarters) - 1
    return at_end and _find_entry(matching.score, excerpt) is None


def first_struck(excerpt: Excerpt, labels: Sequence[ScoreLabel]) -> int:
    """The number of the first onset that something was struck for; that of none for none."""
    pairs = zip(labels, excerpt.onset_numbers, strict=True)
    none = len(excerpt.onsets_quarters)
    return next((number for label, number in pairs if label.label is not Label.MISSED), none)


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
    if fault.cause is Cause.STOPPED_AGAIN:
        return True
    return fault.family is Family.MISSING and fault.onset_quarters >= end_quarters
