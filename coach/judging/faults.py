"""All faults of a repetition, the most important first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from coach.judging.facts import Family, Fault, Matching
from coach.judging.faults_extra import extra_faults
from coach.judging.faults_missed import missed_faults
from coach.judging.faults_places import all_hands, spanning
from coach.judging.faults_shape import shape_faults
from coach.judging.faults_timing import timing_faults
from coach.judging.faults_wrong import wrong_faults
from coach.judging.timing import Timing
from coach.judging.timing_release import Shape
from coach.playing.notes import PlayedNote
from coach.score.window import Excerpt


def find_faults(
    excerpt: Excerpt,
    played: Sequence[PlayedNote],
    matching: Matching,
    timing: Timing,
    shape: Shape,
) -> list[Fault]:
    """Everything that was not right, at no stage in particular, in no order."""
    notes = [
        *wrong_faults(excerpt, played, matching),
        *missed_faults(excerpt, matching, timing),
        *extra_faults(excerpt, played, matching, timing),
    ]
    time = [_less_if_explained(fault, notes) for fault in timing_faults(excerpt, timing)]
    return [*notes, *time, *shape_faults(excerpt, shape)]


def by_importance(faults: Sequence[Fault]) -> list[Fault]:
    """The heaviest first, then in order of time."""
    return sorted(faults, key=lambda fault: (-fault.weight, fault.onset_quarters))


def tempo_fault(excerpt: Excerpt, qpm: float, asked_qpm: float) -> Fault:
    """The tempo as a whole, slower or faster than asked, told in beats a minute."""
    first, last = excerpt.notes[0].onset_quarters, excerpt.notes[-1].onset_quarters
    beat = float(excerpt.grid_quarters[1] - excerpt.grid_quarters[0])
    way = "slower" if qpm < asked_qpm else "faster"
    words = f"{way} than asked ({qpm / beat:.0f} for {asked_qpm / beat:.0f})"
    hands = all_hands(excerpt)
    return spanning(excerpt, first, last, hands, Family.TEMPO, 0.5, words, f"{way} than asked")


def _less_if_explained(fault: Fault, notes: Sequence[Fault]) -> Fault:
    """Late where a key was wrong, missed or corrected: the key is the news, not the time."""
    for other in notes:
        if other.onset_quarters == fault.onset_quarters and other.family is not Family.EXTRA:
            return replace(fault, weight=min(fault.weight, 0.45))
    return fault
