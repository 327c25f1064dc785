"""Calibration: the constant offset between click and keys, from tapping along.

What a tap shows is the player's own anticipation (0 to 30 ms early in musicians, more in others;
Repp 2005, Psychon. Bull. Rev. 12, 969-992, from memory) plus the equipment's delay. Neither is a
fault, so both are taken out together.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from coach.judging.tolerance import MAD_OF_SD

LEAST_TAPS = 8
"""Taps from which the middle is known to a few milliseconds, at a scatter of 20 ms."""
_WARMING_UP = 2
"""First taps left out: one falls in with a click only after hearing it."""
_LEAST_CLICKS = 2
"""Between them lies one beat."""
_STEADY_SHARE = 0.10
"""Scatter of more than a tenth of the beat is no tapping along: untrained tapping scatters by 4
to 6 % (Repp 2005, from memory)."""


@dataclass(frozen=True, slots=True)
class Calibration:
    """The offset found, and how well."""

    offset_ms: float
    """Middle of tap minus click; positive when taps come late."""
    scatter_ms: float
    """Robust standard deviation of the taps."""
    taps: int
    """How many were used."""


def calibrate(clicks_s: Sequence[float], taps_s: Sequence[float]) -> Calibration | None:
    """The constant offset of taps against clicks, both in seconds on one clock.

    Each tap goes with the click nearest to it. None where too few fell near one or they scatter
    too much to be tapping along: ask the player to try again.
    """
    if len(clicks_s) < _LEAST_CLICKS:
        return None
    beat_s = median(b - a for a, b in pairwise(clicks_s))
    errors = [_nearest(clicks_s, tap) for tap in sorted(taps_s)][_WARMING_UP:]
    errors = [error for error in errors if abs(error) < beat_s / 2]
    if len(errors) < LEAST_TAPS:
        return None
    offset = median(errors)
    scatter = median(abs(error - offset) for error in errors) / MAD_OF_SD
    if scatter > _STEADY_SHARE * beat_s:
        return None
    return Calibration(offset * 1000, scatter * 1000, len(errors))


def _nearest(clicks_s: Sequence[float], tap_s: float) -> float:
    index = bisect_left(clicks_s, tap_s)
    near = clicks_s[max(0, index - 1) : index + 1]
    return min((tap_s - click for click in near), key=abs)
