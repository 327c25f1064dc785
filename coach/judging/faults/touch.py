"""Faults of touch: keys let go early or held on, pedal and loudness against what is printed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from coach.judging.faults.catalogue import weigh
from coach.judging.faults.context import FaultContext, FaultSpan, make_fault
from coach.judging.model import Cause, Fault
from coach.judging.touch import (
    Hold,
    PedalFault,
    PedalFaultKind,
    find_pedal_faults,
    measure_loudness,
)
from coach.judging.wording import describe, seconds
from coach.score.window import Excerpt

_ONE_LAPSE_BEATS = 1
"""Keys of one hand let go early within this of each other are one lapse (own choice)."""


def find_touch_faults(context: FaultContext) -> Iterator[Fault]:
    """What of the articulation is not as written, in no order."""
    excerpt, shape = context.excerpt, context.shape
    for run in _split_lapses(excerpt, shape.let_go):
        yield _make_early_release(excerpt, run)
    for hold in shape.gaps:
        yield _make_touch_fault(excerpt, Cause.BROKEN_SLUR, hold)
    for hold in shape.held_on:
        yield _make_touch_fault(excerpt, Cause.HELD_ON, hold)


def _split_lapses(excerpt: Excerpt, holds: tuple[Hold, ...]) -> list[list[Hold]]:
    """Neighbours in one hand within a beat of each other: one lapse, one fault."""
    out: list[list[Hold]] = []
    for hold in holds:
        beat = excerpt.onset_beats[hold.note]
        last = out[-1][-1] if out else None
        near = last and beat - excerpt.onset_beats[last.note] <= _ONE_LAPSE_BEATS
        if last and near and last.hand is hold.hand:
            out[-1].append(hold)
        else:
            out.append([hold])
    return out


def _make_early_release(excerpt: Excerpt, run: list[Hold]) -> Fault:
    """It spoils the way onward: the transition away from the first such note, not into it."""
    surprise = max(hold.surprise for hold in run)
    fault = _make_touch_fault(excerpt, Cause.EARLY_RELEASE, run[0], surprise)
    first = int(excerpt.onset_beats[run[0].note] // 1)
    return replace(fault, from_beat=first, to_beat=first + 1)


def _make_touch_fault(excerpt: Excerpt, cause: Cause, hold: Hold, surprise: float = 0.0) -> Fault:
    return make_fault(
        excerpt,
        cause,
        FaultSpan.at(excerpt.notes[hold.note].onset_quarters, hold.hand),
        describe(cause),
        weight=weigh(cause, surprise=surprise),
        note=hold.note,
        size_ms=(hold.held_s - hold.written_s) * 1000,
    )


_PEDAL_CAUSES = {
    PedalFaultKind.LATE: Cause.LATE_PEDAL,
    PedalFaultKind.MISSING: Cause.NO_PEDAL,
    PedalFaultKind.NOT_CHANGED: Cause.PEDAL_NOT_CHANGED,
}


def find_marked_faults(context: FaultContext) -> Iterator[Fault]:
    """Pedal and loudness that were not as marked, in no order."""
    for fault in find_pedal_faults(context.excerpt, context.timing, context.pedals):
        yield _make_pedal_fault(context, fault)
    yield from _find_loudness_faults(context)


def _make_pedal_fault(context: FaultContext, found: PedalFault) -> Fault:
    excerpt, cause = context.excerpt, _PEDAL_CAUSES[found.kind]
    onsets = excerpt.onsets_quarters
    gaps = {"size": seconds(found.size_s)} if cause is Cause.LATE_PEDAL else {}
    return make_fault(
        excerpt,
        cause,
        FaultSpan(onsets[found.first], onsets[found.last], excerpt.hands),
        describe(cause, **gaps),
        weight=weigh(cause),
        size_ms=found.size_s * 1000,
    )


def _find_loudness_faults(context: FaultContext) -> Iterator[Fault]:
    excerpt = context.excerpt
    heard = measure_loudness(excerpt, context.played, context.matching)
    for mark in heard.contrasts:
        way = "louder" if mark.louder else "softer"
        yield make_fault(
            excerpt,
            Cause.NO_CONTRAST,
            FaultSpan.at(mark.onset_quarters, excerpt.hands),
            describe(Cause.NO_CONTRAST, way=way, mark=mark.mark),
        )
    for hairpin in heard.hairpins:
        name = "crescendo" if hairpin.louder else "diminuendo"
        yield make_fault(
            excerpt,
            Cause.NO_HAIRPIN,
            FaultSpan(hairpin.first_quarters, hairpin.last_quarters, excerpt.hands),
            describe(Cause.NO_HAIRPIN, name=name),
        )
