"""Rests: where a staff is silent inside the window.

Only the silence of a whole staff is shown: with two voices the other one tells the time. Rests
are cut at beats, so that each is easy to count.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from fractions import Fraction

from coach.score.model import Bar, Score
from coach.score.window import Excerpt
from coach.screens.staff.values import Value, value_of
from coach.screens.staff.written import Head, last_quarters

_SHORTEST = Fraction(1, 8)
"""A 32nd: less silence than this is a player's release or an exporter's rounding, not a rest."""


@dataclass(frozen=True, slots=True)
class Rest:
    """One rest on one staff."""

    staff: int
    onset_quarters: Fraction
    value: Value


def rests(score: Score, excerpt: Excerpt, heads: tuple[Head, ...]) -> tuple[Rest, ...]:
    """The rests of every staff that has a note in the window."""
    sounding: dict[int, list[tuple[Fraction, Fraction]]] = defaultdict(list)
    for head in heads:
        if not head.grace:
            end = head.onset_quarters + head.length_quarters
            sounding[head.staff].append((head.onset_quarters, end))
    start = excerpt.window.start_quarters
    end = max(excerpt.window.end_quarters, last_quarters(excerpt))
    out: list[Rest] = []
    for staff, spans in sorted(sounding.items()):
        for low, high in _silences(spans, start, end):
            out += _written(score, staff, low, high)
    return tuple(out)


def _silences(
    spans: list[tuple[Fraction, Fraction]], start: Fraction, end: Fraction
) -> list[tuple[Fraction, Fraction]]:
    out, at = [], start
    for low, high in sorted(spans):
        if low - at >= _SHORTEST:
            out.append((at, low))
        at = max(at, high)
    if end - at >= _SHORTEST:
        out.append((at, end))
    return out


def _written(score: Score, staff: int, low: Fraction, high: Fraction) -> list[Rest]:
    out = []
    while low < high:
        bar = score.bar_at(low)
        end = min(high, bar.end_quarters) if bar.end_quarters > low else high
        whole = bar.length_quarters == bar.metre.bar_quarters
        if whole and low == bar.onset_quarters and end == bar.end_quarters:
            out.append(Rest(staff, low, Value(Fraction(4))))
            low = end
            continue
        length = _to_next_beat(bar, low, end)
        value = value_of(length)
        if value is None or value.base_quarters < _SHORTEST:
            return out
        out.append(Rest(staff, low, value))
        low += length
    return out


def _to_next_beat(bar: Bar, low: Fraction, end: Fraction) -> Fraction:
    """The longest rest from here: up to the next beat, or several whole beats from a beat."""
    beats = [beat for beat in bar.beats_quarters() if beat > low] + [bar.end_quarters]
    if low in bar.beats_quarters():
        reach = [beat for beat in beats if beat <= end and _is_plain(beat - low)]
        return reach[-1] - low if reach else end - low
    return min(beats[0], end) - low


def _is_plain(length: Fraction) -> bool:
    value = value_of(length)
    return value is not None and value.tuplet is None
