"""Faults of time: hesitations, one hand late, hands drifting, uneven rows, a tempo that runs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from coach.judging.facts import Family, Fault
from coach.judging.faults_places import hands_of, spanning
from coach.judging.timing import Timing
from coach.judging.tolerance import Tolerance
from coach.judging.words import late, seconds
from coach.score.model import Hands
from coach.score.window import Excerpt

SLOWING = "slowing down"
"""The cause of a tempo that sinks evenly from beginning to end."""


def timing_faults(excerpt: Excerpt, timing: Timing, tolerance: Tolerance) -> list[Fault]:
    """What the timing shows, in no order."""
    return [
        *_hesitations(excerpt, timing),
        *(_drift(excerpt, timing) if timing.drift else _parted(excerpt, timing)),
        *_splits(excerpt, timing),
        *_uneven(excerpt, timing),
        *_ragged(excerpt, timing, tolerance),
        *_figures(excerpt, timing),
        *_rush(excerpt, timing),
        *_off_click(excerpt, timing),
    ]


def _weight(size_s: float, least: float) -> float:
    """From ``least`` for the smallest to 0.3 more for half a second."""
    return least + 0.3 * min(1.0, abs(size_s) / 0.5)


def _onset(timing: Timing, moment: int) -> Fraction:
    return timing.row[moment].onset_quarters


def _hesitations(excerpt: Excerpt, timing: Timing) -> Iterator[Fault]:
    alone = _drifted(timing)
    for pause in timing.pauses:
        moment = timing.row[pause.moment]
        onset = moment.onset_quarters
        yield spanning(
            excerpt,
            onset,
            onset,
            hands_of([hand.hand for hand in moment.hands]),
            Family.TIMING,
            _weight(pause.excess_s, 0.55 if moment.number not in alone else 0.3),
            late(excerpt, onset, pause.excess_s),
            "hesitation",
            size_ms=pause.excess_s * 1000,
        )


def _drifted(timing: Timing) -> set[int]:
    """Onsets that one hand has alone where the hands drift: its lateness is the drift's."""
    if timing.drift is None:
        return set()
    return {moment.number for moment in timing.row if len(moment.hands) == 1}


def _parted(excerpt: Excerpt, timing: Timing) -> Iterator[Fault]:
    for one in timing.parted:
        onset = _onset(timing, one.moment)
        yield spanning(
            excerpt,
            onset,
            onset,
            Hands(one.hand),
            Family.TIMING,
            _weight(one.error_s, 0.5),
            late(excerpt, onset, one.error_s),
            "one hand late" if one.error_s > 0 else "one hand early",
            size_ms=one.error_s * 1000,
        )


def _splits(excerpt: Excerpt, timing: Timing) -> Iterator[Fault]:
    for split in timing.splits:
        onset = _onset(timing, split.moment)
        name = excerpt.notes[split.note].spelling.words
        yield spanning(
            excerpt,
            onset,
            onset,
            Hands(split.hand),
            Family.TIMING,
            _weight(split.gap_s, 0.45),
            f"{name} after its chord ({seconds(split.gap_s)})",
            "split chord",
            note=split.note,
            size_ms=split.gap_s * 1000,
        )


def _drift(excerpt: Excerpt, timing: Timing) -> Iterator[Fault]:
    if timing.drift is not None:
        first, last = _onset(timing, timing.drift.first), _onset(timing, timing.drift.last)
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


def _uneven(excerpt: Excerpt, timing: Timing) -> Iterator[Fault]:
    for row in timing.uneven:
        yield spanning(
            excerpt,
            _onset(timing, row.first),
            _onset(timing, row.last),
            Hands(row.hand),
            Family.TIMING,
            0.6,
            f"uneven ({row.ratio:.1f} to 1)",
            "uneven",
            size_ms=row.size_s * 1000,
        )


def _ragged(excerpt: Excerpt, timing: Timing, tolerance: Tolerance) -> Iterator[Fault]:
    told = {row.hand for row in timing.uneven}
    for even in timing.evenness:
        ragged = even.cv > tolerance.ragged_cv and even.sd_ms > tolerance.late_floor_ms
        if ragged and even.hand not in told:
            yield spanning(
                excerpt,
                _onset(timing, even.first),
                _onset(timing, even.last),
                Hands(even.hand),
                Family.TIMING,
                0.55,
                f"uneven (by {even.cv:.0%})",
                "uneven",
                size_ms=even.sd_ms,
            )


def _figures(excerpt: Excerpt, timing: Timing) -> Iterator[Fault]:
    for figure in timing.figures:
        onset = _onset(timing, figure.moment)
        yield spanning(
            excerpt,
            onset,
            onset,
            Hands(figure.hand),
            Family.TIMING,
            0.6,
            figure.words,
            "wrong proportions",
            size_ms=figure.error_s * 1000,
        )


def _rush(excerpt: Excerpt, timing: Timing) -> Iterator[Fault]:
    if timing.rush is None:
        return
    ratio = timing.rush.ratio
    way, times = ("faster", ratio) if ratio > 1 else ("slower", 1 / ratio)
    first, last = _onset(timing, 1), _onset(timing, -1)
    fault = spanning(
        excerpt,
        first,
        last,
        excerpt.hands,
        Family.TEMPO,
        0.55,
        f"{way} and {way} ({times:.1f} times)",
        "tempo drift" if ratio > 1 else SLOWING,
    )
    yield replace(fault, onset_quarters=last)


def _off_click(excerpt: Excerpt, timing: Timing) -> Iterator[Fault]:
    paused = {pause.moment for pause in timing.pauses}
    runs = timing.click.off if timing.click else ()
    for run in runs:
        if paused & set(range(run.first, run.last + 1)):
            continue  # the hesitation is told already, and being behind is what came of it
        moment = timing.row[run.first]
        way = "behind" if run.error_s > 0 else "ahead of"
        yield spanning(
            excerpt,
            moment.onset_quarters,
            _onset(timing, run.last),
            hands_of([hand.hand for hand in moment.hands]),
            Family.TIMING,
            _weight(run.error_s, 0.5),
            f"{way} the click ({seconds(run.error_s)})",
            f"{way} the click",
            size_ms=run.error_s * 1000,
        )
