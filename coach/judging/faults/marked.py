"""Faults against what is printed round the notes: pedal marks, dynamics, hairpins."""

from __future__ import annotations

from collections.abc import Iterator

from coach.judging.faults.catalogue import weigh
from coach.judging.faults.context import FaultContext, FaultSpan, make_fault
from coach.judging.loudness import measure_loudness
from coach.judging.model import Cause, Fault
from coach.judging.pedal import PedalFault, PedalFaultKind, find_pedal_faults
from coach.judging.wording import describe, seconds

_CAUSES = {
    PedalFaultKind.LATE: Cause.LATE_PEDAL,
    PedalFaultKind.MISSING: Cause.NO_PEDAL,
    PedalFaultKind.NOT_CHANGED: Cause.PEDAL_NOT_CHANGED,
}


def find_marked_faults(context: FaultContext) -> Iterator[Fault]:
    """What was not as marked, in no order."""
    for fault in find_pedal_faults(context.excerpt, context.timing, context.pedals):
        yield _make_pedal_fault(context, fault)
    yield from _find_loudness_faults(context)


def _make_pedal_fault(context: FaultContext, found: PedalFault) -> Fault:
    excerpt, cause = context.excerpt, _CAUSES[found.kind]
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
