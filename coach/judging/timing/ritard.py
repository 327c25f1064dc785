"""A final ritard: the tempo sinks smoothly to the end, which is expression and no fault.

Its shape is that of a runner who comes to a stop, ``v(x) = (1 + (w^q - 1) x)^(1/q)``: ``v`` is the
tempo as a share of that before, ``x`` how much of the ritard is over, by the score, and ``w`` the
tempo at its end. With ``q = 3``, braking at constant power, listeners found it the most musical
(Friberg & Sundberg 1999, JASA 105, 1469-1484).

What seems to be at fault near the end is weighed beside it: it has to explain what no ritard does.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import NamedTuple

from coach.judging.timing.noise import Strokes, TimingEvidence

_POWER = 3
_FINALS = (0.7, 0.5, 0.33)
"""Tempos at the end, as shares: a third to two thirds (Friberg & Sundberg 1999, from memory)."""
_MOST_SIZE = 1.0
"""Each may be smaller than that, and none larger."""
_USUAL = -2.0
"""How usual a ritard is against none, as a logarithm: one take in seven. Own choice."""
_LEAST_INTERVALS = 2
"""One long interval at the end is an arrival, and shows no slowing."""


class Ritard(NamedTuple):
    """A slowing to the end."""

    lateness_s: tuple[float, ...]
    """Of every onset."""
    evidence: float
    """Less by how seldom it is."""


class Ritards:
    """The ritards that a take may have ended with."""

    def __init__(self, strokes: Strokes, evidence: TimingEvidence) -> None:
        self._strokes, self._evidence = strokes, evidence

    @cached_property
    def _shapes(self) -> list[list[float]]:
        """How late each onset is by each, in seconds."""
        xs, count = self._strokes.xs, len(self._strokes.xs)
        starts = {count - 3, count - 4, count - 6, 3 * count // 4 - 1, 2 * count // 3, count // 2}
        return [
            [late_share(max(x - xs[i], 0.0) / span, final) * span * self._evidence.period_s
             for x in xs]
            for i in sorted(starts)
            if 0 < i < count - _LEAST_INTERVALS and (span := xs[-1] - xs[i])
            for final in _FINALS
        ]  # fmt: skip

    @cached_property
    def best(self) -> Ritard | None:
        """The one that explains the take best."""
        found = [
            (self._evidence.find_shape(shape, 0.0, _MOST_SIZE), shape) for shape in self._shapes
        ]
        if not found:
            return None
        (size, evidence), shape = max(found, key=lambda one: one[0].evidence)
        return Ritard(tuple(size * late for late in shape), evidence + _USUAL)

    def explain(
        self, shape: Sequence[float], evidence: float, least: float, *, is_step: bool = False
    ) -> bool:
        """Whether a ritard explains what seems to be a lateness of some shape.

        The lateness has some evidence by itself; it has to have the least of it beside a ritard,
        too.
        """
        if self.best is None or self.best.evidence <= 0:
            return False
        both = self._evidence.weigh_beside(shape, self._shapes, _MOST_SIZE, is_step=is_step)
        return max(evidence, both + _USUAL) - self.best.evidence < least


def late_share(x: float, final: float) -> float:
    """How late one is by then, as a share of the ritard in tempo: the integral of 1 / v - 1."""
    slower, power = 1.0 - final**_POWER, 1 - 1 / _POWER
    taken: float = (1 - (1 - slower * x) ** power) / (slower * power)
    return taken - x
