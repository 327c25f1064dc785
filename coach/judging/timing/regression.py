"""A straight tempo line that some of the onsets leave at a bend, fitted from sums.

Conventions
-----------
``u`` is a place in the score as a share of the way from the first onset to the last.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coach.score.model import Hand


@dataclass(frozen=True, slots=True)
class Struck:
    """One hand's onset."""

    moment: int
    u: float
    at_s: float
    hand: Hand


class Sums:
    """Sums over points, from any of them to the last, so that each reading costs the same."""

    def __init__(self, points: Sequence[Struck]) -> None:
        self.us = [point.u for point in points]
        row = [(0.0, 0.0, 0.0, 0.0, 0.0, 0.0)]
        for point in reversed(points):
            n, u, t, uu, ut, tt = row[-1]
            x, y = point.u, point.at_s
            row.append((n + 1, u + x, t + y, uu + x * x, ut + x * y, tt + y * y))
        self.after = row[::-1]

    def bent(self, mine: Sums, start: float) -> tuple[float, float]:
        """All points on one line, those in ``mine`` leaving it after ``start``.

        The squares left over and the slope of the leaving.
        """
        k = sum(u <= start for u in mine.us)
        m, mu, mt, muu, mut, _ = mine.after[k]
        g, gg = mu - start * m, muu - 2 * start * mu + start * start * m
        gu, gt = muu - start * mu, mut - start * mt
        n, u, t, uu, ut, tt = self.after[0]
        s_uu, s_ut, s_tt = uu - u * u / n, ut - u * t / n, tt - t * t / n
        s_gg, s_gu, s_gt = gg - g * g / n, gu - g * u / n, gt - g * t / n
        free_gg, free_gt = s_gg - s_gu * s_gu / s_uu, s_gt - s_gu * s_ut / s_uu
        left = s_tt - s_ut * s_ut / s_uu
        if free_gg <= 1e-9:
            return max(left, 0.0), 0.0
        return max(left - free_gt * free_gt / free_gg, 0.0), free_gt / free_gg
