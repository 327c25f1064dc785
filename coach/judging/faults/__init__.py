"""What was not right in a repetition, with its cause and its place: all that the detectors find."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from coach.judging.faults.catalogue import (
    CATALOGUE,
    NOT_THE_NEWS,
    as_markdown,
    is_asked,
    outcome_of,
)
from coach.judging.faults.context import FaultContext, beats_into
from coach.judging.faults.keys import (
    find_extra_keys,
    find_missed_notes,
    find_wrong_keys,
    find_wrong_order,
)
from coach.judging.faults.timing import find_stop_again, find_tempo_off, find_timing_faults
from coach.judging.faults.touch import find_marked_faults, find_touch_faults
from coach.judging.model import Cause, Family, Fault

__all__ = [
    "CATALOGUE",
    "FaultContext",
    "as_markdown",
    "beats_into",
    "find_faults",
    "find_stop_again",
    "find_tempo_off",
    "is_asked",
    "outcome_of",
    "sort_by_weight",
]

_COMES_OF_ORDER = frozenset(
    {
        Cause.MISREAD_VALUE,
        Cause.EARLY_ENTRY,
        Cause.LATE_ENTRY,
        Cause.HESITATION,
        Cause.ONE_HAND_EARLY,
        Cause.ONE_HAND_LATE,
    }
)
"""What one onset shows of time where two notes were exchanged: no news besides."""


def find_faults(context: FaultContext) -> list[Fault]:
    """Everything that was not right, at no stage in particular, in no order."""
    exchanged = list(find_wrong_order(context))
    keys = [
        *exchanged,
        *find_wrong_keys(context),
        *find_missed_notes(context),
        *find_extra_keys(context),
    ]
    at_fault = {fault.onset_quarters for fault in keys if fault.family is not Family.EXTRA}
    time = [
        replace(fault, weight=min(fault.weight, NOT_THE_NEWS))
        if fault.onset_quarters in at_fault
        else fault
        for fault in _not_of_order(context, exchanged, find_timing_faults(context))
    ]
    return [*keys, *time, *find_touch_faults(context), *find_marked_faults(context)]


def _not_of_order(
    context: FaultContext, exchanged: Sequence[Fault], found: Sequence[Fault]
) -> Sequence[Fault]:
    """The faults of time but for those that only say that two notes were exchanged."""
    if not exchanged:
        return found
    onsets = [moment.onset_quarters for moment in context.timing.row]
    touched = {
        onset
        for fault in exchanged
        for onset in onsets[onsets.index(fault.onset_quarters) :][:_TOUCHED]
    }
    return [
        fault
        for fault in found
        if fault.cause not in _COMES_OF_ORDER or fault.onset_quarters not in touched
    ]


_TOUCHED = 4
"""Onsets whose time an exchange moves: the two notes', what the other hand has between them, and
the one that follows."""


def sort_by_weight(faults: Sequence[Fault]) -> list[Fault]:
    """The heaviest first, then in order of time."""
    return sorted(faults, key=lambda fault: (-fault.weight, fault.onset_quarters))
