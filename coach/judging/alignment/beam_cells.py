"""The readings kept while one key is taken in: the best few of each place in the score."""

from __future__ import annotations

from itertools import chain
from operator import attrgetter

from coach.judging.alignment.hypothesis import Reading

MOST = 6
"""Readings kept of one place: a chord with a wrong key has four, each perhaps at two times; more
would crowd out the other places."""

_cost = attrgetter("cost")


class Places:
    """Readings by how far each hand has come; asked before a reading is made at all."""

    def __init__(self) -> None:
        self.kept: dict[tuple[int, int], list[Reading]] = {}

    def wants(self, right: int, left: int, done: int, last_s: float, cost: float) -> bool:
        """Whether a reading of this place would be kept.

        Two that have played the same notes are still not one where their clocks differ: of a key
        struck twice either may be the note, and only what follows tells which.
        """
        kept = self.kept.get((right, left))
        if kept is None:
            return True
        for old in kept:
            if old.done == done and old.last_s == last_s:
                return cost < old.cost
        return len(kept) < MOST or cost < kept[-1].cost

    def keep(self, new: Reading) -> None:
        """Take in a reading that is wanted, in place of what it is better than."""
        place = new.right, new.left
        kept = self.kept.get(place)
        if kept is None:
            self.kept[place] = [new]
            return
        for at, old in enumerate(kept):
            if old.done == new.done and old.last_s == new.last_s:
                kept[at] = new
                break
        else:
            if len(kept) < MOST:
                kept.append(new)
            else:
                kept[-1] = new
        if len(kept) > 1:
            kept.sort(key=_cost)

    def all(self) -> list[Reading]:
        """All that is kept."""
        return [*chain.from_iterable(self.kept.values())]
