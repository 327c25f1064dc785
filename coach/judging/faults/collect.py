"""All faults of a repetition, from every detector."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from coach.judging.faults.articulation import find_touch_faults
from coach.judging.faults.catalogue import NOT_THE_NEWS
from coach.judging.faults.context import FaultContext
from coach.judging.faults.extra import find_extra_keys
from coach.judging.faults.missing import find_missed_notes
from coach.judging.faults.pitch import find_wrong_keys
from coach.judging.faults.timing import find_timing_faults
from coach.judging.model import Family, Fault


def find_faults(context: FaultContext) -> list[Fault]:
    """Everything that was not right, at no stage in particular, in no order."""
    keys = [
        *find_wrong_keys(context),
        *find_missed_notes(context),
        *find_extra_keys(context),
    ]
    at_fault = {fault.onset_quarters for fault in keys if fault.family is not Family.EXTRA}
    time = [
        replace(fault, weight=min(fault.weight, NOT_THE_NEWS))
        if fault.onset_quarters in at_fault
        else fault
        for fault in find_timing_faults(context)
    ]
    return [*keys, *time, *find_touch_faults(context)]


def sort_by_weight(faults: Sequence[Fault]) -> list[Fault]:
    """The heaviest first, then in order of time."""
    return sorted(faults, key=lambda fault: (-fault.weight, fault.onset_quarters))
