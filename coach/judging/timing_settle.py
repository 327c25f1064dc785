"""Which time a moment has where its hands parted: the one that fits its neighbours best."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from statistics import median

from coach.judging.timing_moments import Moment

_PARTED_S = 0.040
"""Hands further apart than this have no common time worth averaging."""
_CAP = 9.0
"""A pause or a break costs no more than being off by three times the slack."""
_TIES = 6
"""Costs are compared to six places, so that the clock's zero decides nothing."""


def settle(row: Sequence[Moment]) -> tuple[Moment, ...]:
    """Choose for each moment whose hands parted the time that fits its neighbours best."""
    choices = [_choices(moment) for moment in row]
    if all(len(times) == 1 for times in choices):
        return tuple(row)
    periods = _rough_periods(row)
    best: list[list[tuple[float, int]]] = [[(0.0, 0)] * len(choices[0])]
    for i in range(1, len(row)):
        step = (row[i].x - row[i - 1].x) * periods[i]
        best.append([_cheapest(at - step, choices[i - 1], best[-1], step) for at in choices[i]])
    return _walk_back(row, choices, best)


def _cheapest(
    due: float, before: Sequence[float], best: Sequence[tuple[float, int]], step: float
) -> tuple[float, int]:
    """The lowest cost of a choice, and the choice before it; of equal ones, the earlier."""
    slack = 0.25 * step + 0.02
    costs = [
        cost + min(((due - at) / slack) ** 2, _CAP)
        for at, (cost, _) in zip(before, best, strict=True)
    ]
    k = min(range(len(costs)), key=lambda j: round(costs[j], _TIES))
    return costs[k], k


def _choices(moment: Moment) -> tuple[float, ...]:
    first_s = min([hand.first_s for hand in moment.hands])
    last_s = max([hand.last_s for hand in moment.hands])
    if last_s - first_s <= _PARTED_S:
        return (moment.at_s,)
    times = {s for hand in moment.hands for s in (hand.first_s, hand.at_s, hand.last_s)}
    return tuple(sorted(times))


def _walk_back(
    row: Sequence[Moment], choices: list[tuple[float, ...]], best: list[list[tuple[float, int]]]
) -> tuple[Moment, ...]:
    k = min(range(len(best[-1])), key=lambda j: round(best[-1][j][0], _TIES))
    out: list[Moment] = []
    for i in range(len(row) - 1, -1, -1):
        at_s = choices[i][k]
        out.append(row[i] if at_s == row[i].at_s else row[i]._replace(at_s=at_s))
        k = best[i][k][1]
    return tuple(reversed(out))


def _rough_periods(row: Sequence[Moment]) -> list[float]:
    """A running median of the periods, good enough to choose by."""
    raw = [max(b.at_s - a.at_s, 0.005) / (b.x - a.x) for a, b in pairwise(row)] or [0.5]
    raw.insert(0, raw[0])
    return [median(raw[max(1, i - 4) : i + 5] or raw[:1]) for i in range(len(raw))]
