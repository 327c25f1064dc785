"""Which readings are kept after a key: the likeliest, and of each onset reached at least one."""

from __future__ import annotations

from collections.abc import Callable
from itertools import takewhile

from coach.judging.matching_reading import Reading


def likeliest(
    found: list[Reading],
    limit: float,
    count: int,
    rank: Callable[[Reading], float],
    most: int | None = None,
) -> list[Reading]:
    """Of readings in the order of their ``rank``, up to a limit: so many, and one of each onset
    that none of them has come to; never more than ``most``.

    Where the place was lost there are so many like readings of the wrong one that, but for this,
    they would crowd out the right one.
    """
    count = count if most is None else min(count, most)
    kept = [reading for reading in found[:count] if rank(reading) <= limit]
    if len(kept) < count:
        return kept
    fronts = {reading.front for reading in kept}
    for reading in takewhile(lambda one: rank(one) <= limit, found[count:]):
        if reading.front not in fronts:
            if len(kept) == most:
                break
            fronts.add(reading.front)
            kept.append(reading)
    return kept
