"""Faults of the hands together: one late or early, a chord fallen apart, hands that drift."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from coach.judging.faults.location import spanning
from coach.judging.model import Family, Fault
from coach.judging.timing import Timing
from coach.judging.wording import late, seconds
from coach.score.model import Hands
from coach.score.window import Excerpt

EXPLAINED = 0.25
"""Weight of a lateness that comes of hands drifting or a row being uneven: the cause is told
before it, however large it is."""


def hands_faults(excerpt: Excerpt, timing: Timing) -> Iterator[Fault]:
    """One hand against the other, and within its chords; where they drift, that alone."""
    yield from _drift(excerpt, timing) if timing.drift else _parted(excerpt, timing)
    yield from _splits(excerpt, timing)


def weight(size_s: float, least: float) -> float:
    """From ``least`` for the smallest to 0.3 more for half a second."""
    return least + 0.3 * min(1.0, abs(size_s) / 0.5)


def surer(least: float, surprise: float) -> float:
    """From ``least`` to 0.05 more: of alike faults the one that is told first is the surest.

    ``surprise`` is in standard deviations; those that are told have three and more.
    """
    return least + 0.05 * (1 - 3 / max(surprise, 3))


def onset_of(timing: Timing, moment: int) -> Fraction:
    """The onset of a moment, in quarters."""
    return timing.row[moment].onset_quarters


def explained(timing: Timing) -> set[int]:
    """Moments whose lateness something larger explains.

    Those in a row that was played unevenly, and those that one hand has alone where hands drift.
    """
    sure = [row for row in timing.uneven if row.sure]
    out = {i for row in sure for i in range(row.first, row.last + 2)}
    if timing.drift is not None:
        out |= {i for i, moment in enumerate(timing.row) if len(moment.hands) == 1}
    return out


def _parted(excerpt: Excerpt, timing: Timing) -> Iterator[Fault]:
    known = explained(timing)
    for one in timing.parted:
        onset = onset_of(timing, one.moment)
        yield spanning(
            excerpt,
            onset,
            onset,
            Hands(one.hand),
            Family.TIMING,
            weight(one.error_s, EXPLAINED if one.moment in known else 0.5),
            late(excerpt, onset, one.error_s),
            "one hand late" if one.error_s > 0 else "one hand early",
            size_ms=one.error_s * 1000,
        )


def _splits(excerpt: Excerpt, timing: Timing) -> Iterator[Fault]:
    for split in timing.splits:
        onset = onset_of(timing, split.moment)
        name = excerpt.notes[split.note].spelling.words
        yield spanning(
            excerpt,
            onset,
            onset,
            Hands(split.hand),
            Family.TIMING,
            weight(split.gap_s, 0.45),
            f"{name} after its chord ({seconds(split.gap_s)})",
            "split chord",
            note=split.note,
            size_ms=split.gap_s * 1000,
        )


def _drift(excerpt: Excerpt, timing: Timing) -> Iterator[Fault]:
    if timing.drift is not None:
        first, last = onset_of(timing, timing.drift.first), onset_of(timing, timing.drift.last)
        way = "behind" if timing.drift.total_s > 0 else "ahead of"
        fault = spanning(
            excerpt,
            first,
            last,
            Hands(timing.drift.hand),
            Family.TIMING,
            0.7,
            f"drifts {way} the other hand ({seconds(timing.drift.total_s)})",
            "hands drift",
            size_ms=timing.drift.total_s * 1000,
        )
        yield replace(fault, onset_quarters=last)
