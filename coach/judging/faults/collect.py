"""All faults of a repetition, the most important first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from coach.judging.articulation import Shape
from coach.judging.faults.articulation import shape_faults
from coach.judging.faults.extra import extra_faults
from coach.judging.faults.location import spanning
from coach.judging.faults.missing import missed_faults
from coach.judging.faults.pitch import wrong_faults
from coach.judging.faults.timing import timing_faults
from coach.judging.model import Family, Fault, Matching
from coach.judging.timing import Timing
from coach.judging.tolerance import Tolerance
from coach.playing.notes import PlayedNote
from coach.score.window import Excerpt

_EXPLAINED = 0.45
"""Weight of being late where a key was wrong, missed or corrected: the key is the news."""


def find_faults(
    excerpt: Excerpt,
    played: Sequence[PlayedNote],
    matching: Matching,
    timing: Timing,
    shape: Shape,
    tolerance: Tolerance,
) -> list[Fault]:
    """Everything that was not right, at no stage in particular, in no order."""
    notes = [
        *wrong_faults(excerpt, played, matching),
        *missed_faults(excerpt, matching, timing),
        *extra_faults(excerpt, played, matching, timing),
    ]
    told = {fault.onset_quarters for fault in notes if fault.family is not Family.EXTRA}
    time = [
        replace(fault, weight=min(fault.weight, _EXPLAINED))
        if fault.onset_quarters in told
        else fault
        for fault in timing_faults(excerpt, timing, tolerance)
    ]
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
    hands = excerpt.hands
    return spanning(excerpt, first, last, hands, Family.TEMPO, 0.5, words, f"{way} than asked")
