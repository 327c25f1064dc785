"""Hesitations: one interval longer than the tempo around it, after which the tempo goes on.

Told apart from
- a slow tempo: the tempo is the repetition's own;
- an even rallentando: each interval is held against the slower of its neighbours;
- a phrase ending: the last arrival and long notes may be stretched further;
- one late note: after a hesitation everything stays late, after a late note nothing does;
- expressive lateness that recurs at the same place (:mod:`coach.judging.timing.habits`).

Who waits at nearly every barline makes the tempo around each look slow, and the repetition free.
There the tempo within the bars tells what is asked, and no habit excuses it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from coach.judging.timing.habits import Habits
from coach.judging.timing.local_tempo import Interval
from coach.judging.timing.onsets import Moment
from coach.judging.tolerance import MAD_OF_SD, Tolerance
from coach.score.model import NoteMark
from coach.score.window import Excerpt

_ENOUGH = 5
"""Intervals from which a repetition's own scatter can be told."""
_SAME_PACE = 0.15
"""An interval within this share of the known tempo keeps it: twice what a professional's
intervals scatter (Jabusch 2006), and well inside the least hesitation."""
_LEAST_BARLINES, _MOST_BARLINES = 3, 2 / 3
"""Who waits at barlines does so at three of them, and at two of three: own choice, since twice may
be chance, and since a beginner gets over the easiest one in time."""
_PLAIN_WAITS, _ALIKE_SHARE = 2, 0.5
"""Two of them are hesitations also by themselves; the others last half as long at least. Own
choice: the same wait is a lesser share of a longer note."""
_LEAST_WITHIN = 3
"""Intervals within the two bars that meet, from which their own tempo can be told: own choice, the
fewest of which one may be off."""
_SHORT_S = 0.25
"""Below about 300 ms the scatter of intervals no longer shrinks with them (Repp 1997)."""
_SCATTERS = 5.5
"""An unsteady player's floor, in standard deviations of an onset: four of an interval, which has
two onsets. At an onset SD of 20 ms the 50 ms floor alone calls one good repetition in eight
unclean."""


@dataclass(frozen=True, slots=True)
class Pause:
    """A hesitation before one moment."""

    moment: int
    excess_s: float
    expected_s: float
    at_barlines: bool = False
    """Whether it is one of many at barlines, so that no single one of them stands out."""


def at_known_pace(
    steps: Sequence[Interval], habits: Habits | None, asked_qpm: float | None
) -> tuple[Interval, ...]:
    """Hold a few intervals to the tempo that this player was heard to keep before.

    Two or three notes don't show whether one of them came late or all are slow. Where one of the
    others keeps the known tempo, that tempo is believed. A single interval has no others: it is
    late where the player was never so slow.
    """
    is_one = len(steps) == 2
    pace_qpm = None
    if habits is not None:
        pace_qpm = habits.slowest_qpm(asked_qpm) if is_one else habits.pace_qpm(asked_qpm)
    if pace_qpm is None or len(steps) > _ENOUGH:
        return tuple(steps)
    period = 60 / pace_qpm
    fit = [abs(s.seconds - period * s.quarters) <= _SAME_PACE * period * s.quarters for s in steps]
    return tuple(
        step._replace(period_s=min(step.period_s, period))
        if i and (is_one or any(fit[j] for j in range(1, len(steps)) if j != i))
        else step
        for i, step in enumerate(steps)
    )


def find_pauses(
    excerpt: Excerpt,
    row: Sequence[Moment],
    steps: Sequence[Interval],
    tolerance: Tolerance,
    habits: Habits | None = None,
) -> tuple[Pause, ...]:
    """The hesitations, in order of time; what the habits show as meant is none."""
    waits = find_waits_at_barlines(excerpt, row, steps, tolerance)
    found = list(waits.values())
    scatter = _scatter([step for i, step in enumerate(steps) if i not in waits])
    for i in range(1, len(row)):
        if i in waits or row[i].is_free:
            continue
        expected = _patient_s(row, steps, i)
        pause = Pause(i, steps[i].seconds - expected, expected)
        if pause.excess_s * 1000 < tolerance.late_floor_ms:
            continue
        ending = _is_ending(excerpt, row, steps, i)
        if habits is None:
            limit_ms = tolerance.hesitation_ms(expected * 1000, scatter, ending=ending)
        else:
            limit_ms = _known_limit_ms(row[i], pause, scatter, ending, tolerance, habits)
        if pause.excess_s * 1000 > limit_ms and _stays(row, steps, i, pause.excess_s):
            found.append(pause)
    return tuple(sorted(found, key=lambda pause: pause.moment))


def find_waits_at_barlines(
    excerpt: Excerpt, row: Sequence[Moment], steps: Sequence[Interval], tolerance: Tolerance
) -> dict[int, Pause]:
    """The hesitations of one who waits at most of the barlines, by moment; else none.

    Each way over a barline is held to the middle tempo of the intervals within the two bars that
    meet there, and to what those scatter round it.
    """
    bars = [excerpt.notes[moment.hands[0].notes[0]].bar_index for moment in row]
    whole = [i for i in range(1, len(row)) if not row[i].is_free]
    within: dict[int, list[Interval]] = {}
    for i in whole:
        if bars[i] == bars[i - 1]:
            within.setdefault(bars[i], []).append(steps[i])
    over: list[Pause] = []
    shares: list[float] = []
    for i in whole:
        near = within.get(bars[i - 1], []) + within.get(bars[i], [])
        if bars[i] == bars[i - 1] or len(near) < _LEAST_WITHIN:
            continue
        period = median(step.seconds / step.quarters for step in near)
        if period <= 0:
            continue  # struck all at once
        shares += (abs(step.seconds / step.quarters / period - 1) for step in near)
        expected = period * steps[i].quarters
        over.append(Pause(i, steps[i].seconds - expected, expected, at_barlines=True))
    if len(over) < _LEAST_BARLINES:
        return {}
    scatter = median(shares) / MAD_OF_SD
    plain_s = [pause.excess_s for pause in over if _stands_out(pause, scatter, tolerance)]
    if len(plain_s) < _PLAIN_WAITS:
        return {}
    least_s = _ALIKE_SHARE * median(plain_s)
    waits = {pause.moment: pause for pause in over if pause.excess_s > least_s}
    return waits if len(waits) >= max(_LEAST_BARLINES, _MOST_BARLINES * len(over)) else {}


def _stands_out(pause: Pause, scatter: float, tolerance: Tolerance) -> bool:
    """By the finer limit: what recurs within the take is known as earlier takes would know it."""
    limit_ms = tolerance.hesitation_ms(pause.expected_s * 1000, scatter, ending=False, known=True)
    return pause.excess_s * 1000 > limit_ms


def _known_limit_ms(
    moment: Moment,
    pause: Pause,
    scatter: float | None,
    ending: bool,
    tolerance: Tolerance,
    habits: Habits,
) -> float:
    """The limit where earlier repetitions are known: none for what is meant, finer for the rest.

    Finer only in a repetition long enough to show its own scatter: two or three intervals scatter
    as much as what is looked for. Both are asked then: beyond the late limit, and beyond this
    onset's own history.
    """
    error_ms, ioi_ms = pause.excess_s * 1000, pause.expected_s * 1000
    places = [(moment.onset_quarters, hand.hand) for hand in moment.hands]
    if any(habits.is_expressive(*place, error_ms, ioi_ms) for place in places):
        return float("inf")
    shares = scatter
    if shares is None:
        shares = habits.interval_scatter(max(ioi_ms, 1000 * _SHORT_S))
    goes_on = all(habits.goes_on(*place, tolerance.late_floor_ms) for place in places)
    limit_ms = tolerance.hesitation_ms(
        ioi_ms, shares, ending=ending and not goes_on, known=bool(habits.paces)
    )
    if scatter is None:
        return limit_ms
    if all(habits.is_unusual(*place, error_ms, tolerance.z_limit) for place in places):
        return min(limit_ms, max(tolerance.late_ms(ioi_ms), _SCATTERS * habits.scatter_ms))
    return limit_ms


def _scatter(steps: Sequence[Interval]) -> float | None:
    """The robust spread (MAD) of the intervals round the tempo line, as a share of them."""
    if len(steps) <= _ENOUGH:
        return None
    shares = [abs(step.excess_s) / max(step.expected_s, _SHORT_S) for step in steps[1:]]
    return median(shares) / MAD_OF_SD


def _patient_s(row: Sequence[Moment], steps: Sequence[Interval], i: int) -> float:
    """What an even rallentando or accelerando would lead one to expect of interval i."""
    period = steps[i].period_s
    if i >= 3 and not (row[i - 1].is_free or row[i - 2].is_free):
        last, before = (steps[j].seconds / steps[j].quarters for j in (i - 1, i - 2))
        if last > before:
            period = max(period, last)
    return period * steps[i].quarters


def _is_ending(excerpt: Excerpt, row: Sequence[Moment], steps: Sequence[Interval], i: int) -> bool:
    """The end of a long note or a slur: where lengthening is expected."""
    before = row[i - 1]
    marks = {
        mark for hand in before.hands for note in hand.notes for mark in excerpt.notes[note].marks
    }
    if NoteMark.SLUR_END in marks:
        return True
    near = [steps[j].quarters for j in range(max(1, i - 2), i)]
    return bool(near) and steps[i].quarters >= 2 * max(near)


def _stays(row: Sequence[Moment], steps: Sequence[Interval], i: int, excess: float) -> bool:
    """Whether the moments after it are late with it."""
    if i + 1 >= len(row) or row[i + 1].is_free:
        return True
    shift = steps[i].seconds + steps[i + 1].seconds
    shift -= steps[i].period_s * (steps[i].quarters + steps[i + 1].quarters)
    return shift > 0.5 * excess
