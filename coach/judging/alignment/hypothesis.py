"""A hypothesis of the beam search: where both hands are in the score after the keys so far.

In terms of a hidden Markov model: the hidden state is where each hand is and how fast it plays, a
struck key is an observation, and back-pointers hold the path that led here.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from itertools import chain
from operator import attrgetter
from typing import NamedTuple

NEVER = float("-inf")
"""A time before all others: it has not happened."""


class StepKind(IntEnum):
    """What a step of a hypothesis says of a key."""

    MATCH = 0
    WRONG = 1
    EXTRA = 2
    JUMP = 3
    """No key: back to the onset whose first note is the step's note."""
    FREE = 4
    """One more key of an ornament that is played freely."""


@dataclass(frozen=True, slots=True)
class StruckKey:
    """A key struck, in the decoder's own time, in which the take's tempo is always the same."""

    number: int
    """Which key of the take."""
    pitch: int
    at_s: float
    is_soft: bool
    """Soft and short: perhaps only brushed."""


class BackPointer(NamedTuple):
    """One step of a hypothesis, and the step before it."""

    previous: BackPointer | None
    key: int
    """Index of the key in the take."""
    kind: StepKind
    note: int
    """Index of the note; -1: none."""


@dataclass(slots=True, eq=False)
class Hypothesis:
    """Where the hands are, by their own clocks; never changed once made."""

    cost: float
    done: int
    """Bit i is set where note i has been played since the last jump back."""
    right: int
    """Furthest onset that the right hand has reached."""
    left: int
    right_s: float
    """When the right hand reached it; never: it has not played."""
    left_s: float
    right_beat: float
    left_beat: float
    period_s: float
    """Seconds in a beat."""
    right_off: int
    """How many semitones off the right hand's last key was; 0: right."""
    left_off: int
    extra_pitch: int
    """Pitch of the last key too many, and when it went down."""
    extra_s: float
    last_s: float
    """When the last key that was not too many went down."""
    step: BackPointer | None
    gap: int = 0
    """The last skip: from this onset up to that one, which was played, all was left out."""
    gap_end: int = 0

    @property
    def front(self) -> int:
        """Furthest onset that either hand has reached."""
        return max(self.right, self.left)


def initial(period_s: float) -> Hypothesis:
    """Nothing played yet."""
    return Hypothesis(
        0.0, 0, 0, 0, NEVER, NEVER, 0.0, 0.0, period_s, 0, 0, 0, NEVER, NEVER, None
    )  # fmt: skip


def collect_steps(hypothesis: Hypothesis) -> list[BackPointer]:
    """All steps of a hypothesis, the last one first."""
    steps = []
    step = hypothesis.step
    while step is not None:
        steps.append(step)
        step = step.previous
    return steps


# The cells of the beam: of each place that the hands may have come to, the best few hypotheses.
#
# Hypotheses that have come to the same place with the same notes played are merged, as in the
# Viterbi algorithm (Forney 1973): only the cheaper one can win.


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
