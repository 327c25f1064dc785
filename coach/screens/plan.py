"""The plan, one key away: every task up to the goal, which of them is now, and their order."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widgets import Static

from coach.coaching.facts import Order, PlanChange
from coach.coaching.plan import PlanRow
from coach.screens.notices import SheetScreen

_WIDTH = max(map(len, ("held", "NOW", "to come", "left out")))
_ABOVE = 5
"""Lines over the first task."""
_KEYS = (
    "Up, Down: choose · e: earlier · l: later · x: leave out or take up\n"
    "1: bars in order · 2: from the end · 3: hard bars first"
)

Change = Callable[[int, PlanChange], str]
"""Change a row of the plan; answers with what was done, or why it can't be."""


class PlanScreen(SheetScreen):
    """What has been learnt, what is learnt now, and what is to come; the order is the pianist's."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "choose(-1)", show=False, priority=True),
        Binding("down", "choose(1)", show=False, priority=True),
        Binding("e", "change('EARLIER')", show=False),
        Binding("l", "change('LATER')", show=False),
        Binding("x", "leave_out", show=False),
        Binding("1", "reorder('FORWARD')", show=False),
        Binding("2", "reorder('FROM_END')", show=False),
        Binding("3", "reorder('HARD_FIRST')", show=False),
    ]

    def __init__(
        self,
        rows: Callable[[], Sequence[PlanRow]],
        asked: Callable[[], str],
        change: Change | None = None,
        reorder: Callable[[Order], str] | None = None,
    ) -> None:
        """``asked``: what is asked for at this moment, in one line; without ``change`` and
        ``reorder`` the plan can only be read."""
        super().__init__()
        self._rows, self._asked = rows, asked
        self._change, self._reorder = change, reorder
        self._chosen = self._now()
        self._said = ""

    def compose(self) -> ComposeResult:
        """The tasks, what was done to them, and the keys, which stay in sight."""
        with VerticalScroll():
            yield Static(self.text(), markup=False, id="tasks")
        if self._change:
            yield Static(_KEYS, classes="keys")

    DEFAULT_CSS = """
    PlanScreen > .keys { width: 96%; max-width: 100; padding: 0 2; color: $text-muted; }
    PlanScreen > VerticalScroll { max-height: 80%; }
    """

    def text(self) -> str:
        """The tasks in their order, and what was last done to them."""
        chosen = self._chosen if self._change else None
        lines = plan_lines(self._rows(), self._asked(), chosen)
        lines[3] = self._said or lines[3]
        return "\n".join([*lines, "", "Enter or Esc: back"])

    def on_mount(self) -> None:
        """Show the task that is now, also where it stands far down a long plan."""
        self.call_after_refresh(self._show_chosen)

    def action_choose(self, by: int) -> None:
        """The task before or after."""
        self._chosen = min(max(self._chosen + by, 0), len(self._rows()) - 1)
        self._said = ""
        self._refresh()

    def action_change(self, name: str) -> None:
        """Move the chosen task, leave it out, or take it up again; the choice goes along."""
        if self._change is None:
            return
        before = self._rows()
        row = before[self._chosen]
        self._said = self._change(self._chosen, PlanChange[name])
        after = self._rows()
        if tuple(after) != tuple(before):
            same = [at for at, one in enumerate(after) if one.what == row.what]
            self._chosen = min(same, key=lambda at: abs(at - self._chosen), default=self._chosen)
        self._refresh()

    def action_leave_out(self) -> None:
        """Leave the chosen task out; one that is left out or held is taken up again."""
        done = self._rows()[self._chosen].state in ("left out", "held")
        self.action_change((PlanChange.TAKE_UP if done else PlanChange.LEAVE_OUT).name)

    def action_reorder(self, name: str) -> None:
        """All bars in another order."""
        if self._reorder:
            self._said = self._reorder(Order[name])
            self._chosen = self._now()
            self._refresh()

    def _now(self) -> int:
        return next((at for at, row in enumerate(self._rows()) if row.state == "now"), 0)

    def _refresh(self) -> None:
        self.query_one("#tasks", Static).update(self.text())
        self.call_after_refresh(self._show_chosen)

    def _show_chosen(self) -> None:
        box = self.query_one(VerticalScroll)
        box.scroll_to(y=self._chosen + _ABOVE - box.size.height // 2, animate=False)


def plan_lines(rows: Sequence[PlanRow], asked: str, chosen: int | None = None) -> list[str]:
    """How far it is, what is asked for, then each task: its state in words, and what it is."""
    done = sum(row.state == "held" for row in rows)
    lines = [_line(at, row, at == chosen) for at, row in enumerate(rows)]
    return [f"{done} of {len(rows)} held. Asked for now:", f"  {asked}", "", "The plan", *lines]


def _line(at: int, row: PlanRow, is_chosen: bool) -> str:
    state = row.state.upper() if row.state == "now" else row.state
    return f"{'>' if is_chosen else ' '} {state:>{_WIDTH}}  {at + 1:>3}. {row.what}"
