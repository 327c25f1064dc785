"""The plan, one key away: every task up to the goal, which of them is now, and their order."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import groupby
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.widgets import Static

from coach.coaching.model import Order, PlanChange
from coach.coaching.planning import PlanRow, RowState
from coach.score.model import Score
from coach.score.window import Window
from coach.screens.dialogs.dialog import CLOSING_KEYS, Dialog, TextBox
from coach.screens.terminal import as_shown
from coach.screens.wording import window_words

_WIDTH = max(map(len, RowState))
_ABOVE = 5
"""Lines over the first task: padding, and what ``PlanScreen`` says before the tasks."""
_LONG = 10
"""A plan of more tasks than this is folded. Own choice: so many can be read at once."""
_BEFORE, _AFTER = 2, 3
"""Tasks before and after the chosen one that are never folded away. Own choice."""
_PAGE = 10
"""By how many tasks PgUp and PgDn move. Own choice: a folded plan is as long."""
_ALL = 1_000_000
"""More tasks than a plan has."""
_LOOK = "Up, Down, PgUp, PgDn, Home, End: look along the plan"
_KEYS = (
    f"{_LOOK}\n"
    "e: earlier · l: later · x: leave out or take up\n"
    "1: bars in order · 2: from the end · 3: hard bars first"
)

Change = Callable[[int, PlanChange], str]
"""Change a row of the plan; answers with what was done, or why nothing was."""


class PlanScreen(Dialog[None]):
    """What has been learnt, what is learnt now, and what is to come; the order is the pianist's."""

    BINDINGS: ClassVar[list[BindingType]] = [
        CLOSING_KEYS,
        Binding("up", "choose(-1)", show=False, priority=True),
        Binding("down", "choose(1)", show=False, priority=True),
        Binding("pageup", f"choose({-_PAGE})", show=False, priority=True),
        Binding("pagedown", f"choose({_PAGE})", show=False, priority=True),
        Binding("home", f"choose({-_ALL})", show=False, priority=True),
        Binding("end", f"choose({_ALL})", show=False, priority=True),
        Binding("e", "change('EARLIER')", show=False),
        Binding("l", "change('LATER')", show=False),
        Binding("x", "leave_out", show=False),
        Binding("1", "reorder('FORWARD')", show=False),
        Binding("2", "reorder('FROM_END')", show=False),
        Binding("3", "reorder('HARD_FIRST')", show=False),
    ]

    DEFAULT_CSS = """
    PlanScreen > .keys { width: 96%; max-width: 100; padding: 0 2; color: $text-muted; }
    PlanScreen > TextBox { max-height: 80%; }
    """

    closes_when_played = True

    def __init__(
        self,
        score: Score,
        rows: Callable[[], Sequence[PlanRow]],
        asked: Callable[[], str],
        change: Change | None = None,
        reorder: Callable[[Order], str] | None = None,
    ) -> None:
        """``asked``: what is asked for at this moment, in one line; without ``change`` and
        ``reorder`` the plan can only be read."""
        super().__init__()
        self._score, self._rows, self._asked = score, rows, asked
        self._change, self._reorder = change, reorder
        self._chosen = self._find_now()
        self._said = ""

    def compose(self) -> ComposeResult:
        """The tasks, what was done to them, and the keys, which stay in sight."""
        yield TextBox(self._text())
        if len(self._rows()) > 1:
            keys = _KEYS if self._change else _LOOK
            yield Static(as_shown(self, keys), classes="keys")

    def _text(self) -> str:
        """The tasks in their order, and what was last done to them."""
        rows = self._rows()
        done = sum(row.state == RowState.HELD for row in rows)
        lines = [f"{done} of {len(rows)} held. Asked for now:", f"  {self._asked()}", ""]
        lines += [self._said or "The plan", *plan_lines(self._score, rows, self._chosen)]
        return "\n".join(lines)

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
        done = self._rows()[self._chosen].state in (RowState.LEFT_OUT, RowState.HELD)
        self.action_change((PlanChange.TAKE_UP if done else PlanChange.LEAVE_OUT).name)

    def action_reorder(self, name: str) -> None:
        """All bars in another order."""
        if self._reorder:
            self._said = self._reorder(Order[name])
            self._chosen = self._find_now()
            self._refresh()

    def _find_now(self) -> int:
        return next((at for at, row in enumerate(self._rows()) if row.state == RowState.NOW), 0)

    def _refresh(self) -> None:
        for box in self.query(TextBox):  # none where it has been closed meanwhile
            box.show(self._text())
        self.call_after_refresh(self._show_chosen)

    def _show_chosen(self) -> None:
        stretches = fold_rows(self._rows(), self._chosen)
        line = next((at for at, part in enumerate(stretches) if self._chosen in part), 0)
        for box in self.query(TextBox):
            box.scroll_to(y=line + _ABOVE - box.size.height // 2, animate=False)


def fold_rows(rows: Sequence[PlanRow], chosen: int) -> list[range]:
    """The rows of each line: one, or a stretch in the same state that is folded into a line.

    The task that is now, the chosen one and those about it stay; a short plan is not folded.
    """
    long = len(rows) > _LONG

    def group(at: int) -> tuple[str, int]:
        near = chosen - _BEFORE <= at <= chosen + _AFTER
        alone = not long or near or rows[at].state == RowState.NOW
        return rows[at].state, at if alone else -1

    lines = []
    for _, part in groupby(range(len(rows)), group):
        ats = list(part)
        lines.append(range(ats[0], ats[-1] + 1))
    return lines


def plan_lines(score: Score, rows: Sequence[PlanRow], chosen: int) -> list[str]:
    """Each task: its state in words, its number, and what it is; long stretches in one line."""
    return [_row_line(score, rows, part, chosen in part) for part in fold_rows(rows, chosen)]


def _row_line(score: Score, rows: Sequence[PlanRow], part: range, is_chosen: bool) -> str:
    first = rows[part[0]]
    state = first.state.upper() if first.state == RowState.NOW else first.state
    what = f"{part[0] + 1:>3}. {first.what}"
    if len(part) > 1:
        windows = [rows[at].window for at in part]
        start = min(window.start_quarters for window in windows)
        stretch = Window(start, max(window.end_quarters for window in windows))
        what = f"     {len(part)} tasks in {window_words(score, stretch)}"
    return f"{'>' if is_chosen else ' '} {state:>{_WIDTH}}  {what}"
