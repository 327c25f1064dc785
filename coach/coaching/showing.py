"""How a fault shows while both hands play: in its own hand, in the other, or in both at once.

A hand that hesitates makes the other wait; a wrong key stays in its own hand. In which manner a
fault shows is not known before it has shown, so each way has its share, and what was seen of it
makes one way likelier than the others.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, log

Manner = tuple[float, float, float]
"""Chances that a failure shows in the first hand only, in the second only, in both."""
Ways = Sequence[tuple[float, Manner]]
"""The manners that there are, each with its share before anything was seen."""

ONE_HAND: Ways = ((0.65, (0.94, 0.01, 0.05)), (0.35, (0.15, 0.01, 0.84)))
"""A fault of one hand: its own hand is the first."""
TOGETHER: Ways = (
    (0.25, (0.9, 0.05, 0.05)),
    (0.25, (0.05, 0.9, 0.05)),
    (0.25, (0.05, 0.05, 0.9)),
    (0.25, (0.34, 0.33, 0.33)),
)
"""A fault of both together: the right hand is the first."""


def log_chance(seen: Sequence[float], ways: Ways) -> float:
    """Log chance of what was seen (failures in the first hand, the second, both)."""
    return log(sum(_weights(seen, ways)))


def expected(seen: Sequence[float], ways: Ways) -> Manner:
    """How the next failure shows, after what was seen."""
    weights = _weights(seen, ways)
    total = sum(weights)
    first, second, both = (
        sum(w * manner[i] for w, (_, manner) in zip(weights, ways, strict=True)) / total
        for i in range(3)
    )
    return first, second, both


def _weights(seen: Sequence[float], ways: Ways) -> list[float]:
    return [
        part * exp(sum(count * log(chance) for count, chance in zip(seen, manner, strict=True)))
        for part, manner in ways
    ]
