"""Playing against the click: where each moment lay once the constant offset is out.

A player who is always 30 ms early is with the click (negative mean asynchrony; Repp 2005), so the
middle of the errors at the first beats is taken out and told only as a notice; but no more than
such a habit makes: half a beat late all along is not with the click. The equipment's delay is
known by calibration and stands in the click's time already.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate
from statistics import fmean, median

from coach.judging.timing.onsets import Moment
from coach.judging.tolerance import Tolerance
from coach.score.window import Excerpt

_EXCUSED_S = 0.060
"""The most that is excused: twice what musicians anticipate, and what untrained players do (20 to
80 ms: Repp 2005, from memory)."""
_FIRST_BEATS = 4
"""Beats from which it is taken: what comes later is what the player made of it."""


@dataclass(frozen=True, slots=True)
class OffClick:
    """A run of moments that were all behind the click, or all ahead of it."""

    first: int
    last: int
    error_s: float
    """The largest, positive when behind."""


@dataclass(frozen=True, slots=True)
class ClickTiming:
    """How the moments lay against the click."""

    offset_s: float
    """The constant part, taken out."""
    due_s: tuple[float, ...]
    """Where each moment was due, the offset included."""
    off: tuple[OffClick, ...]


def against_click(
    excerpt: Excerpt,
    row: Sequence[Moment],
    pauses_s: Sequence[float],
    qpm: float,
    click_s: float,
    tolerance: Tolerance,
) -> ClickTiming:
    """Hold the moments to a click whose first grid beat fell at ``click_s``.

    ``pauses_s`` are the pauses found: the offset is the player's, not what a pause made of it.
    Where the player was with the click again after them, they are no part of it.
    """
    start = float(excerpt.grid_quarters[0])
    beat_ms = float(excerpt.beat_quarters) * 60000 / qpm
    click = [click_s + (moment.x - start) * 60 / qpm for moment in row]
    offset = _offset(row, click, pauses_s)
    due = tuple(at + offset for at in click)
    limit = tolerance.against_click_ms(beat_ms) / 1000
    return ClickTiming(offset, due, _runs(row, due, limit))


def _offset(row: Sequence[Moment], click: Sequence[float], pauses_s: Sequence[float]) -> float:
    """The middle error at the first beats, as far as it is excused."""
    if not row:
        return 0.0
    first = [
        moment.at_s - at
        for moment, at in zip(row, click, strict=True)
        if moment.beat < row[0].beat + _FIRST_BEATS
    ]
    middle = _without_pauses(first, pauses_s[: len(first)])
    return min(max(middle, -_EXCUSED_S), _EXCUSED_S)


def _without_pauses(with_click: Sequence[float], pauses_s: Sequence[float]) -> float:
    """The middle of the errors, without what pauses added where the player stayed behind."""
    left_behind = [
        error - total for error, total in zip(with_click, accumulate(pauses_s), strict=True)
    ]
    is_lifted = _spread(left_behind) <= _spread(with_click)
    return median(left_behind if is_lifted else with_click)


def _spread(errors: Sequence[float]) -> float:
    """How far the errors lie from their middle, on average."""
    middle = median(errors)
    return fmean(abs(error - middle) for error in errors)


def _runs(row: Sequence[Moment], due: Sequence[float], limit: float) -> tuple[OffClick, ...]:
    out: list[OffClick] = []
    side = 0
    for i, moment in enumerate(row):
        error = moment.at_s - due[i]
        now = 0 if abs(error) <= limit else (1 if error > 0 else -1)
        if now and now == side:
            before = out[-1]
            largest = error if abs(error) > abs(before.error_s) else before.error_s
            out[-1] = OffClick(before.first, i, largest)
        elif now:
            out.append(OffClick(i, i, error))
        side = now
    return tuple(out)
