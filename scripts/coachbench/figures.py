"""How the coaching benchmark prints what it counted."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt
from statistics import NormalDist, median


def share(hits: Sequence[bool]) -> str:
    """A share in per cent, and between which shares the true one lies (95 %)."""
    if not hits:
        return "   -   "
    low, high = wilson(sum(hits), len(hits))
    return f"{100 * sum(hits) / len(hits):5.1f} % ({100 * low:.1f} to {100 * high:.1f})"


def wilson(successes: int, attempts: int, confidence: float = 0.95) -> tuple[float, float]:
    """Wilson's score interval for a proportion (Wilson 1927; Newcombe 1998)."""
    z = NormalDist().inv_cdf(0.5 + confidence / 2)
    p, zz = successes / attempts, z * z / attempts
    centre = (p + zz / 2) / (1 + zz)
    half = z * sqrt(p * (1 - p) / attempts + zz / (4 * attempts)) / (1 + zz)
    return max(centre - half, 0.0), min(centre + half, 1.0)


def spread(counts: Sequence[int]) -> str:
    """The middle and the slowest tenth."""
    if not counts:
        return "median -, 90 % -"
    ordered = sorted(counts)
    return f"median {median(ordered):g}, 90 % {ordered[int(0.9 * (len(ordered) - 1))]}"
