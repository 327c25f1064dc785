"""The plan, one key away: every task on the way to the goal, and which of them is now."""

from __future__ import annotations

from collections.abc import Sequence

from textual.containers import VerticalScroll

from coach.coaching.plan import PlanRow
from coach.screens.notices import SheetScreen

_WIDTH = max(map(len, ("held", "NOW", "to come", "left out")))


class PlanScreen(SheetScreen):
    """What has been learnt, what is learnt now, and what is to come."""

    def __init__(self, rows: Sequence[PlanRow], asked: str) -> None:
        """``asked``: what is asked for at this moment, in one line."""
        super().__init__()
        self._rows, self._asked = rows, asked

    def text(self) -> str:
        """The tasks in their order."""
        return "\n".join(plan_lines(self._rows, self._asked))

    def on_mount(self) -> None:
        """Show the task that is now, also where it stands far down a long plan."""
        self.call_after_refresh(self._show_now)

    def _show_now(self) -> None:
        now = next((at for at, row in enumerate(self._rows) if row.state == "now"), 0)
        box = self.query_one(VerticalScroll)
        box.scroll_to(y=now - box.size.height // 2, animate=False)


def plan_lines(rows: Sequence[PlanRow], asked: str) -> list[str]:
    """How far it is, what is asked for, then each task: its state in words, and what it is."""
    done = sum(row.state == "held" for row in rows)
    lines = [_line(number, row) for number, row in enumerate(rows, start=1)]
    return [f"{done} of {len(rows)} held. Asked for now:", f"  {asked}", "", "The plan", *lines]


def _line(number: int, row: PlanRow) -> str:
    state = row.state.upper() if row.state == "now" else row.state
    return f"{state:>{_WIDTH}}  {number:>3}. {row.what}"
