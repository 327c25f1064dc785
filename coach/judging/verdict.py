"""The verdict: clean or not at this stage, and the sentence that says why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from coach.judging.completion import before_the_break, entered_at, last_struck, stopped_before
from coach.judging.faults import is_asked
from coach.judging.model import Cause, Fault, Matching, Stage
from coach.judging.psychophysics import EVENNESS_CV
from coach.judging.timing import Evenness, Timing
from coach.judging.wording import (
    describe_in_at_most,
    describe_with_hand,
    describe_with_place,
    join_words,
    place,
)
from coach.score.window import Excerpt

MOST_WORDS = 12
"""A longer sentence is not read in a glance."""


def forgive_unasked(faults: Sequence[Fault], stage: Stage) -> tuple[Fault, ...]:
    """The faults with those forgiven that the stage does not ask for, and these last."""
    marked = [
        fault if is_asked(fault.cause, stage) else replace(fault, forgiven=True) for fault in faults
    ]
    return tuple(sorted(marked, key=lambda fault: fault.forgiven))


def is_clean(faults: Sequence[Fault], complete: bool) -> bool:
    """Reached the end with nothing that the stage asks for amiss."""
    return complete and all(fault.forgiven for fault in faults)


def make_sentence(
    excerpt: Excerpt,
    faults: Sequence[Fault],
    matching: Matching,
    *,
    clean: bool,
) -> str:
    """At most twelve words, the most important thing first."""
    if clean:
        return "Clean"
    counted = [fault for fault in faults if not fault.forgiven]
    doubt = "unsure: " if matching.unsure and counted else ""
    most = MOST_WORDS - len(doubt.split())
    text = doubt + join_words(_list_parts(excerpt, counted, matching, most), most)
    return text[0].upper() + text[1:]


def _list_parts(
    excerpt: Excerpt, counted: Sequence[Fault], matching: Matching, most: int
) -> list[str]:
    """The first fault with its place (if that fits), where it began and stopped, the others."""
    before = before_the_break(excerpt, matching.score, counted)
    said = _say_faults(excerpt, before, most) if before else []
    part = [*_say_entry(excerpt, matching), *_say_break(excerpt, counted, matching)]
    if not said or not part:
        return [*said, *part]
    first, *others = said
    fits = len(" ".join([first, *part]).split()) <= most
    short = ["then stopped"] if stopped_before(excerpt, matching.score) is not None else []
    return [first, *(part if fits else short), *others]


def _say_entry(excerpt: Excerpt, matching: Matching) -> list[str]:
    """Where it began, if not at the window's beginning."""
    entered = entered_at(excerpt, matching.score)
    return [] if entered is None else [f"begun at {place(excerpt, entered)}"]


def _say_break(excerpt: Excerpt, counted: Sequence[Fault], matching: Matching) -> list[str]:
    """Where it broke off: before an onset, or in the middle of a chord."""
    labels, onsets = matching.score, excerpt.onsets_quarters
    stop, last = stopped_before(excerpt, labels), last_struck(excerpt, labels)
    if stop is None and last < len(onsets) - 1:
        return [f"stopped before {place(excerpt, onsets[-1])}"]
    if stop is None:
        return []
    again = " again" if any(fault.cause is Cause.STOPPED_AGAIN for fault in counted) else ""
    way = "at" if last >= 0 and stop == onsets[last] else "before"
    return [f"stopped {way} {place(excerpt, stop)}{again}"]


def _say_faults(excerpt: Excerpt, faults: Sequence[Fault], most: int) -> list[str]:
    """The first in the fullest words that fit."""
    first = describe_in_at_most(most, excerpt, faults[0])
    return [first] + [describe_with_hand(excerpt, fault) for fault in faults[1:]]


def list_details(excerpt: Excerpt, faults: Sequence[Fault], timing: Timing) -> tuple[str, ...]:
    """Every fault with its place, those that do not count marked; then how even the rows were."""
    said = [
        describe_with_place(excerpt, fault)
        + (" (does not count at this stage)" if fault.forgiven else "")
        for fault in faults
    ]
    return (*said, *map(_describe_evenness, timing.evenness))


def _describe_evenness(row: Evenness) -> str:
    words = f"{row.hand.value} evenness: {row.cv:.0%} (a professional's scale: {EVENNESS_CV:.0%})"
    if row.clock_ms is None or row.motor_ms is None:
        return words
    return f"{words}; pulse {row.clock_ms:.0f} ms, fingers {row.motor_ms:.0f} ms"
