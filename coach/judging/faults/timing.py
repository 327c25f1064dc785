"""Faults of time: hesitations, hands apart, uneven rows and figures, a tempo that runs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from coach.judging.faults.hands import EXPLAINED, explained, hands_faults, onset_of, surer, weight
from coach.judging.faults.location import hands_of, spanning
from coach.judging.model import Family, Fault
from coach.judging.timing import Timing
from coach.judging.tolerance import Tolerance
from coach.judging.wording import late, seconds
from coach.score.model import Hands
from coach.score.window import Excerpt

SLOWING = "slowing down"
"""The cause of a tempo that sinks evenly from beginning to end."""
_UNEVEN, _LIKELY = 0.6, 0.35
"""Least weight of unevenness, and of such as may be chance, told after what is plain."""
_RUSHED, _DRIFTED = 0.55, 0.35
"""Weight of running away; and of a drift that may be meant, told after what is plain."""


def timing_faults(excerpt: Excerpt, timing: Timing, tolerance: Tolerance) -> list[Fault]:
    """What the timing shows, in no order."""
    return [
        *_hesitations(excerpt, timing),
        *hands_faults(excerpt, timing),
        *_uneven(excerpt, timing),
        *_ragged(excerpt, timing, tolerance),
        *_figures(excerpt, timing),
        *_rush(excerpt, timing),
        *_off_click(excerpt, timing),
    ]


def _hesitations(excerpt: Excerpt, timing: Timing) -> Iterator[Fault]:
    known = explained(timing)
    for pause in timing.pauses:
        moment = timing.row[pause.moment]
        onset = moment.onset_quarters
        yield spanning(
            excerpt,
            onset,
            onset,
            hands_of([hand.hand for hand in moment.hands]),
            Family.TIMING,
            weight(pause.excess_s, EXPLAINED if pause.moment in known else 0.55),
            late(excerpt, onset, pause.excess_s),
            "hesitation",
            size_ms=pause.excess_s * 1000,
        )


def _uneven(excerpt: Excerpt, timing: Timing) -> Iterator[Fault]:
    for row in timing.uneven:
        fault = spanning(
            excerpt,
            onset_of(timing, row.first),
            onset_of(timing, row.last),
            Hands(row.hand),
            Family.TIMING,
            surer(_UNEVEN if row.sure else _LIKELY, row.surprise),
            f"uneven ({row.ratio:.1f} to 1)",
            "uneven",
            size_ms=row.size_s * 1000,
        )
        yield replace(fault, forgiven=not row.sure)


def _ragged(excerpt: Excerpt, timing: Timing, tolerance: Tolerance) -> Iterator[Fault]:
    told = {row.hand for row in timing.uneven}
    for even in timing.evenness:
        ragged = even.cv > tolerance.ragged_cv and even.sd_ms > tolerance.late_floor_ms
        if ragged and even.hand not in told:
            yield spanning(
                excerpt,
                onset_of(timing, even.first),
                onset_of(timing, even.last),
                Hands(even.hand),
                Family.TIMING,
                0.55,
                f"uneven (by {even.cv:.0%})",
                "uneven",
                size_ms=even.sd_ms,
            )


def _figures(excerpt: Excerpt, timing: Timing) -> Iterator[Fault]:
    for figure in timing.figures:
        onset = onset_of(timing, figure.moment)
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
    first, last = onset_of(timing, 1), onset_of(timing, -1)
    fault = spanning(
        excerpt,
        first,
        last,
        excerpt.hands,
        Family.TEMPO,
        _RUSHED if ratio > 1 and timing.rush.sure else _DRIFTED,
        f"{way} and {way} ({times:.1f} times)",
        "tempo drift" if ratio > 1 else SLOWING,
    )
    yield replace(fault, onset_quarters=last, forgiven=not timing.rush.sure)


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
            onset_of(timing, run.last),
            hands_of([hand.hand for hand in moment.hands]),
            Family.TIMING,
            weight(run.error_s, 0.5),
            f"{way} the click ({seconds(run.error_s)})",
            f"{way} the click",
            size_ms=run.error_s * 1000,
        )
