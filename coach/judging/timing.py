"""The timing of one repetition, all that is found of it, as plain facts.

Conventions
-----------
Errors are seconds here (``_s``), positive when late, against the repetition's own tempo line.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from coach.judging.facts import Matching
from coach.judging.habits import Habits
from coach.judging.timing_drift import Rush, rush
from coach.judging.timing_hands import Drift, Parted, drift, parted
from coach.judging.timing_line import Interval, foretold, intervals, settle
from coach.judging.timing_moments import Moment, moments
from coach.judging.timing_pauses import Pause, pauses
from coach.judging.timing_rows import Figure, Uneven, figures, uneven
from coach.judging.tolerance import Tolerance
from coach.playing.notes import PlayedNote
from coach.score.window import Excerpt


@dataclass(frozen=True)
class Timing:
    """What is known of a repetition's time."""

    row: tuple[Moment, ...]
    steps: tuple[Interval, ...]
    line_s: tuple[float, ...]
    """Where each moment would have fallen, at the repetition's own tempo."""
    pauses: tuple[Pause, ...]
    parted: tuple[Parted, ...]
    drift: Drift | None
    uneven: tuple[Uneven, ...]
    figures: tuple[Figure, ...]
    rush: Rush | None
    qpm: float | None
    """The tempo found, in quarters a minute, pauses left out."""

    @cached_property
    def _at(self) -> dict[Fraction, int]:
        return {moment.onset_quarters: i for i, moment in enumerate(self.row)}

    def due_s(self, onset: Fraction) -> float | None:
        """When a score onset would have fallen; None where nothing was struck for it."""
        index = self._at.get(onset)
        return None if index is None else self.line_s[index]


def measure(
    excerpt: Excerpt,
    played: Sequence[PlayedNote],
    matching: Matching,
    tolerance: Tolerance,
    habits: Habits | None = None,
) -> Timing:
    """Find the tempo line and what leaves it."""
    row = settle(moments(excerpt, played, matching))
    steps = intervals(row)
    found = pauses(excerpt, row, steps, tolerance, habits)
    lifts = _lifts(row, steps, found)
    line = foretold(row, lifts)
    qpm = _tempo(row, lifts)
    held = frozenset(i for i, lift in enumerate(lifts) if lift)
    return Timing(
        row=row,
        steps=steps,
        line_s=line,
        pauses=found,
        parted=parted(row, line, _beat_s(excerpt, qpm), tolerance),
        drift=drift(row, tolerance),
        uneven=uneven(row, held, tolerance),
        figures=figures(row, held, tolerance),
        rush=rush(row, lifts, tolerance),
        qpm=qpm,
    )


def _beat_s(excerpt: Excerpt, qpm: float | None) -> float:
    grid = excerpt.grid_quarters
    return float(grid[1] - grid[0]) * 60 / (qpm or excerpt.qpm)


def _lifts(
    row: Sequence[Moment], steps: Sequence[Interval], found: Sequence[Pause]
) -> tuple[float, ...]:
    held = {pause.moment: pause.excess_s for pause in found}
    return tuple(
        steps[i].excess_s if moment.broken or moment.gap else held.get(i, 0.0)
        for i, moment in enumerate(row)
    )


def _tempo(row: Sequence[Moment], lifts: Sequence[float]) -> float | None:
    """Quarters a minute from the first moment to the last, pauses and breaks left out."""
    if len(row) < 2:
        return None
    seconds = row[-1].at_s - row[0].at_s - sum(lifts)
    return 60 * (row[-1].x - row[0].x) / seconds if seconds > 0 else None
