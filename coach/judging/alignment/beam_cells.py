"""The cells of the beam: of each place that the hands may have come to, the best few hypotheses.

Hypotheses that have come to the same place with the same notes played are merged, as in the Viterbi
algorithm (Forney 1973): only the cheaper one can win.
"""

from __future__ import annotations

from itertools import chain
from operator import attrgetter

from coach.judging.alignment.hypothesis import Hypothesis

MOST_IN_CELL = 6
"""Hypotheses in one cell. Own choice, because a chord with a wrong key has four, each perhaps at
two times; more would crowd out the other cells."""

_cost = attrgetter("cost")


class BeamCells:
    """Hypotheses by how far each hand has come; asked before a hypothesis is made at all."""

    def __init__(self) -> None:
        self.cells: dict[tuple[int, int], list[Hypothesis]] = {}
        """By the onsets that the right hand and the left have reached; the cheapest first."""

    def wants(self, right: int, left: int, done: int, last_s: float, cost: float) -> bool:
        """Whether a hypothesis would be kept in its cell.

        Two that have played the same notes are still not one where their clocks differ: of a key
        struck twice either may be the note, and only what follows tells which.
        """
        cell = self.cells.get((right, left))
        if cell is None:
            return True
        for old in cell:
            if old.done == done and old.last_s == last_s:
                return cost < old.cost
        return len(cell) < MOST_IN_CELL or cost < cell[-1].cost

    def keep(self, new: Hypothesis) -> None:
        """Put in a hypothesis that is wanted, in place of what it is better than."""
        where = new.right, new.left
        cell = self.cells.get(where)
        if cell is None:
            self.cells[where] = [new]
            return
        for rank, old in enumerate(cell):
            if old.done == new.done and old.last_s == new.last_s:
                cell[rank] = new
                break
        else:
            if len(cell) < MOST_IN_CELL:
                cell.append(new)
            else:
                cell[-1] = new
        if len(cell) > 1:
            cell.sort(key=_cost)

    def put(self, new: Hypothesis) -> None:
        """Put in a hypothesis where it is wanted."""
        if self.wants(new.right, new.left, new.done, new.last_s, new.cost):
            self.keep(new)

    def list_all(self) -> list[Hypothesis]:
        """All hypotheses of all cells."""
        return [*chain.from_iterable(self.cells.values())]
