"""How likely a clean repetition is at a tempo, by the player's own record of that place.

Three things are not known of a place: how often it fails at the tempo asked for, how much slower
playing helps, and how fast clean repetitions mend it. They are weighed over a small grid by Bayes'
rule: after ``n`` clean ones, a repetition at a share ``s`` of that tempo fails with chance
``c * s ** e * exp(-r * n)``. Reading hardly gets better with time (``e`` near 0), a leap does much
(``e`` of 3 and more; errors grow with tempo: Pfordresher, Palmer and Jungers 2007); practice acts
on a single learner by the same share each time (Heathcote, Brown and Mewhort 2000). All values of
the grid are equally likely before anything is heard, so that nothing but the record decides.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import product
from math import exp

CHANCES = tuple(k / 12 for k in range(1, 12))
EASES = (0.0, 1.0, 2.0, 3.0, 4.0)
RATES = (0.0, 0.15, 0.3)
KEPT = 12
"""Repetitions that are kept: what was played before them says little of now."""

Try = tuple[float, bool]
"""A repetition's tempo as a share of the tempo asked for, and whether it was clean."""


def clean_chance(tries: Sequence[Try], share: float) -> float:
    """Chance, 0 to 1, that the next repetition is clean at this share of the tempo asked for.

    ``tries`` are the repetitions up to now, the oldest first; a half where there are none.
    """
    heard = tuple((round(min(s, 1.0), 2), clean) for s, clean in tries[-KEPT:])
    share = min(share, 1.0)
    fails: float = sum(
        fails_now * share**ease for ease, fails_now in zip(EASES, _now(heard), strict=True)
    )
    return 1.0 - fails


@lru_cache(maxsize=512)
def _now(tries: tuple[Try, ...]) -> tuple[float, ...]:
    """For each ease: its probability times the mean chance of failing now at the full tempo."""
    before = [sum(clean for _, clean in tries[:at]) for at in range(len(tries) + 1)]
    total, sums = 0.0, dict.fromkeys(EASES, 0.0)
    for ease, rate in product(EASES, RATES):
        shares = [s**ease * exp(-rate * before[at]) for at, (s, _) in enumerate(tries)]
        left = exp(-rate * before[-1])
        for chance in CHANCES:
            weight = 1.0
            for share, (_, clean) in zip(shares, tries, strict=True):
                weight *= 1.0 - chance * share if clean else chance * share
            total += weight
            sums[ease] += weight * chance * left
    return tuple(part / total for part in sums.values())
