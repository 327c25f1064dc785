"""All faults of a repetition, the most important first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from coach.judging.facts import Family, Fault, Matching
from coach.judging.faults_extra import extra_faults
from coach.judging.faults_missed import missed_faults
from coach.judging.faults_timing import timing_faults
from coach.judging.faults_wrong import wrong_faults
from coach.judging.timing import Timing
from coach.playing.notes import PlayedNote
from coach.score.window import Excerpt


def find_faults(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching, timing: Timing
) -> tuple[Fault, ...]:
    """Everything that was not right, the most important first, at no stage in particular."""
    notes = [
        *wrong_faults(excerpt, played, matching),
        *missed_faults(excerpt, matching, timing),
        *extra_faults(excerpt, played, matching, timing),
    ]
    time = [_less_if_explained(fault, notes) for fault in timing_faults(excerpt, timing)]
    return tuple(sorted([*notes, *time], key=lambda f: (-f.weight, f.onset_quarters)))


def _less_if_explained(fault: Fault, notes: Sequence[Fault]) -> Fault:
    """Late where a key was wrong, missed or corrected: the key is the news, not the time."""
    for other in notes:
        if other.onset_quarters == fault.onset_quarters and other.family is not Family.EXTRA:
            return replace(fault, weight=min(fault.weight, 0.5))
    return fault
