"""Faults of the hands together: one late or early, a chord fallen apart, hands that drift."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from coach.judging.faults.catalogue import weigh
from coach.judging.faults.context import FaultContext
from coach.judging.faults.lateness import make_lateness
from coach.judging.faults.location import FaultSpan, make_fault
from coach.judging.model import Cause, Fault
from coach.judging.timing import Timing
from coach.judging.wording import describe, seconds
from coach.score.model import Hands

_TOGETHER_S = 0.06
"""Hands nearer than this moved together: the order of two tones is certain beyond it (as in
``location.py``)."""


def find_hands_apart(context: FaultContext) -> Iterator[Fault]:
    """One hand against the other, and within its chords; where they drift, that alone."""
    yield from _find_drift(context) if context.timing.drift else _find_one_hand_off(context)
    yield from _find_split_chords(context)


def onset_of(timing: Timing, moment: int) -> Fraction:
    """The onset of a moment, in quarters."""
    return timing.row[moment].onset_quarters


def explained_moments(timing: Timing) -> set[int]:
    """Moments whose lateness something larger explains.

    Those in a row that was played unevenly, and those that one hand has alone where hands drift.
    """
    sure = [row for row in timing.uneven if row.sure]
    out = {i for row in sure for i in range(row.first, row.last + 2)}
    if timing.drift is not None:
        out |= {i for i, moment in enumerate(timing.row) if len(moment.hands) == 1}
    return out


def _find_one_hand_off(context: FaultContext) -> Iterator[Fault]:
    timing = context.timing
    explained = explained_moments(timing) | timing.lengths.moments
    waited = timing.lengths.moments | {pause.moment for pause in timing.pauses}
    for one in timing.parted:
        if one.moment in waited and abs(timing.row[one.moment].apart_s or 0.0) < _TOGETHER_S:
            continue  # all that struck here moved, which is told already
        cause = Cause.ONE_HAND_LATE if one.error_s > 0 else Cause.ONE_HAND_EARLY
        yield make_lateness(
            context,
            cause,
            one.moment,
            one.error_s,
            explained=one.moment in explained,
            hands=Hands(one.hand),
        )


def _find_split_chords(context: FaultContext) -> Iterator[Fault]:
    timing, excerpt = context.timing, context.excerpt
    for split in timing.splits:
        name = excerpt.notes[split.note].spelling.words
        yield make_fault(
            excerpt,
            Cause.SPLIT_CHORD,
            FaultSpan.at(onset_of(timing, split.moment), split.hand),
            describe(Cause.SPLIT_CHORD, note=name, size=seconds(split.gap_s)),
            weight=weigh(Cause.SPLIT_CHORD, size_s=split.gap_s),
            note=split.note,
            size_ms=split.gap_s * 1000,
        )


def _find_drift(context: FaultContext) -> Iterator[Fault]:
    """The drift spans all the onsets that it took; its own onset is the last, where it is worst."""
    timing, drift = context.timing, context.timing.drift
    if drift is None:
        return
    first, last = onset_of(timing, drift.first), onset_of(timing, drift.last)
    way = "behind" if drift.total_s > 0 else "ahead of"
    fault = make_fault(
        context.excerpt,
        Cause.HANDS_DRIFT,
        FaultSpan(first, last, Hands(drift.hand)),
        describe(Cause.HANDS_DRIFT, way=way, size=seconds(drift.total_s)),
        size_ms=drift.total_s * 1000,
    )
    yield replace(fault, onset_quarters=last)
