"""Faults of time: hesitations, one hand late, hands drifting, uneven rows, a tempo that runs."""

from __future__ import annotations

from dataclasses import replace

from coach.judging.facts import Family, Fault
from coach.judging.faults_places import all_hands, hands_of, spanning
from coach.judging.timing import Timing
from coach.judging.timing_drift import Rush
from coach.judging.timing_hands import Parted
from coach.judging.timing_pauses import Pause
from coach.judging.timing_rows import Figure, Uneven
from coach.score.model import Hands
from coach.score.window import Excerpt


def timing_faults(excerpt: Excerpt, timing: Timing) -> list[Fault]:
    """What the timing shows, without order."""
    out = [_hesitation(excerpt, timing, pause) for pause in timing.pauses]
    out += [_uneven(excerpt, timing, row) for row in timing.uneven]
    out += [_figure(excerpt, timing, figure) for figure in timing.figures]
    out += [_rush(excerpt, timing, timing.rush)] if timing.rush else []
    drift = _drift(excerpt, timing)
    if drift is not None:
        return [*out, drift]
    return out + [_parted(excerpt, timing, one) for one in timing.parted]


def _weight(size_s: float, least: float) -> float:
    """From ``least`` for the smallest to 0.3 more for half a second."""
    return least + 0.3 * min(1.0, abs(size_s) / 0.5)


def _hesitation(excerpt: Excerpt, timing: Timing, pause: Pause) -> Fault:
    moment = timing.row[pause.moment]
    hands = hands_of([hand.hand for hand in moment.hands])
    onset = moment.onset_quarters
    return spanning(
        excerpt,
        onset,
        onset,
        hands,
        Family.TIMING,
        _weight(pause.excess_s, 0.55),
        late_words(excerpt, onset, pause.excess_s),
        "hesitation",
        size_ms=pause.excess_s * 1000,
    )


def _parted(excerpt: Excerpt, timing: Timing, one: Parted) -> Fault:
    onset = timing.row[one.moment].onset_quarters
    cause = "one hand late" if one.error_s > 0 else "one hand early"
    return spanning(
        excerpt,
        onset,
        onset,
        Hands(one.hand),
        Family.TIMING,
        _weight(one.error_s, 0.5),
        late_words(excerpt, onset, one.error_s),
        cause,
        size_ms=one.error_s * 1000,
    )


def _drift(excerpt: Excerpt, timing: Timing) -> Fault | None:
    found = timing.drift
    if found is None:
        return None
    first, last = (timing.row[i].onset_quarters for i in (found.first, found.last))
    fault = spanning(
        excerpt,
        first,
        last,
        Hands(found.hand),
        Family.TIMING,
        0.7,
        f"hands drift apart ({abs(found.total_s):.1f} s)",
        "hands drift",
        size_ms=found.total_s * 1000,
    )
    return replace(fault, onset_quarters=last)


def _uneven(excerpt: Excerpt, timing: Timing, row: Uneven) -> Fault:
    first, last = (timing.row[i].onset_quarters for i in (row.first, row.last))
    return spanning(
        excerpt,
        first,
        last,
        Hands(row.hand),
        Family.TIMING,
        0.6,
        f"uneven ({row.ratio:.1f} to 1)",
        "uneven",
        size_ms=row.size_s * 1000,
    )


def _figure(excerpt: Excerpt, timing: Timing, figure: Figure) -> Fault:
    onset = timing.row[figure.moment].onset_quarters
    name = "dotted rhythm" if figure.written == 3 else "long and short"
    return spanning(
        excerpt,
        onset,
        onset,
        Hands(figure.hand),
        Family.TIMING,
        0.6,
        f"{name} played even",
        "wrong proportions",
        size_ms=figure.error_s * 1000,
    )


def _rush(excerpt: Excerpt, timing: Timing, rush: Rush) -> Fault:
    first, last = timing.row[0].onset_quarters, timing.row[-1].onset_quarters
    fault = spanning(
        excerpt,
        first,
        last,
        all_hands(excerpt),
        Family.TEMPO,
        0.55,
        f"faster and faster (x {rush.ratio:.1f})",
        "tempo drift",
    )
    low = (fault.from_beat or 0) + 1
    return replace(fault, from_beat=low, onset_quarters=last)


def late_words(excerpt: Excerpt, onset: object, error_s: float) -> str:
    """``late (0.4 s)``; the place is added by the verdict."""
    return f"{'late' if error_s > 0 else 'early'} ({abs(error_s):.1f} s)"
