"""What listeners can hear of time: published figures, as functions of the time between onsets.

Conventions
-----------
``ioi_ms`` is the time from one onset to the next (inter-onset interval), in milliseconds.
Results are milliseconds.
"""

from __future__ import annotations

EVENNESS_CV = 0.07
"""Standard deviation of the times between a professional's scale notes, as a share of their mean:
8.1 ms up and 8.9 ms down at 125 ms (Jabusch 2006; 13 pianists, sixteenths at 120)."""


def jnd95_ms(ioi_ms: float) -> float:
    """The smallest displacement of one tone in an even row that is heard.

    6 ms up to 240 ms between onsets, 2.5 % above (Friberg & Sundberg 1995, JASA 98, 2524-2531;
    30 listeners). No tolerance of this program lies below it.
    """
    return max(6.0, 0.025 * ioi_ms)


def jnd92_ms(ioi_ms: float) -> float:
    """The older, laxer figure of the same: about 10 ms below 240 ms, about 5 % above.

    Friberg & Sundberg 1992, STL-QPSR 33(4), 97-108. At 240 ms the two branches give 10 and
    12 ms; the step is kept as published.
    """
    return 10.0 if ioi_ms < 240.0 else 0.05 * ioi_ms
