"""The plan as the pianist edits it: its order, what is held, and what is left out.

One law holds it together: the row that is now is the first that is neither held nor left out.
Whatever is moved, left out or taken up again, that law says what is played next. Every change
answers with one sentence: what was done, or why it can't be.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from coach.coaching.model import PlanChange
from coach.coaching.planning.plan import PlanRow, PlanStep, RowState


@dataclass(slots=True)
class EditableRow:
    """One step of the plan, and what became of it."""

    step: PlanStep
    made: int
    """Its number in the plan as it was made."""
    held: bool = False
    left_out: bool = False

    @property
    def is_open(self) -> bool:
        """Still to be played."""
        return not self.held and not self.left_out


class EditablePlan:
    """The rows of a plan in the pianist's order; there is at least one."""

    def __init__(self, steps: Sequence[PlanStep]) -> None:
        self.rows = [EditableRow(step, made) for made, step in enumerate(steps)]
        self._last = self.rows[0]
        """What is played when nothing is left open."""

    @property
    def now(self) -> EditableRow:
        """What is to be played: the first open row; when all are done, the one done last."""
        return next((row for row in self.rows if row.is_open), self._last)

    @property
    def is_done(self) -> bool:
        """Nothing is left to play."""
        return not any(row.is_open for row in self.rows)

    def mark_held(self, held: bool) -> None:
        """The row that is now was brought to its goal, or no longer stands there."""
        row = self.now
        row.held, self._last = held, row

    def list_rows(self) -> tuple[PlanRow, ...]:
        """All rows, for people."""
        now = self.now
        return tuple(
            PlanRow(row.step.what, row.step.task.window, _row_state(row, now)) for row in self.rows
        )

    def change(self, at: int, change: PlanChange) -> str:
        """Change the row of this number (0 is the first).

        Raises IndexError where the plan has no such row.
        """
        if not 0 <= at < len(self.rows):
            raise IndexError(f"no row {at} in a plan of {len(self.rows)}")
        if change is PlanChange.EARLIER:
            return self._move(at, -1)
        if change is PlanChange.LATER:
            return self._move(at, 1)
        if change is PlanChange.LEAVE_OUT:
            return self.leave_out(self.rows[at])
        return self._take_up(self.rows[at])

    def leave_out(self, row: EditableRow) -> str:
        """Pass a row over; the last one that is open stays."""
        if row.held:
            return f"{row.step.title} is held already."
        if row.left_out:
            return f"{row.step.title} is left out already."
        if sum(one.is_open for one in self.rows) == 1:
            return "It is the only thing left to play, so it stays."
        row.left_out = True
        return f"Left out: {row.step.what}."

    def adopt_states(self, before: EditablePlan) -> None:
        """Keep what became of the steps that another plan of the same goal has too."""
        known = {row.step.what: row for row in before.rows}
        for row in self.rows:
            same = known.get(row.step.what)
            if same is not None and same.step.task.window == row.step.task.window:
                row.held, row.left_out = same.held, same.left_out

    def to_plain(self) -> dict[str, Any]:
        """JSON-ready, for :meth:`restore`."""
        return {
            "order": [row.made for row in self.rows],
            "held": sorted(row.made for row in self.rows if row.held),
            "left_out": sorted(row.made for row in self.rows if row.left_out),
            "last": self._last.made,
        }

    def restore(self, plain: Mapping[str, Any]) -> None:
        """Arrange a freshly made plan as it was kept.

        Raises KeyError, TypeError or ValueError where what was kept is of another plan.
        """
        order = [int(made) for made in plain["order"]]
        if sorted(order) != [row.made for row in self.rows]:
            raise ValueError("the order kept is of another plan")
        made = self.rows
        for at in map(int, plain["held"]):
            made[at].held = True
        for at in map(int, plain["left_out"]):
            made[at].left_out = True
        self._last = made[int(plain["last"])]
        self.rows = [made[at] for at in order]

    def _move(self, at: int, by: int) -> str:
        """Past the next row that is not held: what is held has no turn any more."""
        row, to = self.rows[at], at + by
        if row.held:
            return f"{row.step.title} is held already: take it up again to play it once more."
        while 0 <= to < len(self.rows) and self.rows[to].held:
            to += by
        if not 0 <= to < len(self.rows):
            return f"{row.step.title} comes {'first' if by < 0 else 'last'} already."
        other = self.rows[to]
        self.rows.insert(to, self.rows.pop(at))
        return f"{row.step.title} {'before' if by < 0 else 'after'} {other.step.what}."

    def _take_up(self, row: EditableRow) -> str:
        if row.is_open:
            return f"{row.step.title} is on the plan already."
        row.held = row.left_out = False
        return f"Taken up again: {row.step.what}."


def _row_state(row: EditableRow, now: EditableRow) -> RowState:
    if row.left_out:
        return RowState.LEFT_OUT
    if row.held:
        return RowState.HELD
    return RowState.NOW if row is now else RowState.TO_COME
