"""The plan as the pianist edits it, and what comes once its goal is reached.

One law holds it together: the row that is now is the first that is neither held nor left out.
Whatever is moved, left out or taken up again, that law says what is played next. Every change
answers with one sentence: what was done, or why it can't be.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from typing import Any

from coach.coaching.model import AssignmentKind, Goal, PlanChange, Way
from coach.coaching.planning.steps import PlanStep, StepRole, begin_at
from coach.coaching.serialize import window_from_plain, window_to_plain
from coach.coaching.wording import (
    AGAIN_IN_ONE,
    FIRST_ALREADY,
    HANDS_AGAIN,
    HELD_ALREADY,
    HELD_ALREADY_TAKE_UP,
    LAST_ALREADY,
    LEFT_OUT_ALREADY,
    MOVED_AFTER,
    MOVED_BEFORE,
    ON_THE_PLAN_ALREADY,
    ONLY_THING_LEFT,
    ROW_LEFT_OUT,
    ROW_TAKEN_UP,
    sections_held_words,
)
from coach.score.model import Score
from coach.score.window import Window, whole_piece

NEW_BARS = 4
"""Bars of new ground that are offered at once. Own choice: a phrase, mostly."""


class RowState(StrEnum):
    """What became of a row of the plan."""

    HELD = "held"
    NOW = "now"
    TO_COME = "to come"
    LEFT_OUT = "left out"
    LEFT_TODAY = "left for today"
    """It has a place that got no better."""


@dataclass(frozen=True, slots=True)
class PlanRow:
    """One line of the plan, for people."""

    what: str
    """``bar 3, left hand alone``"""
    window: Window
    state: RowState


ADDED = -1
"""The number of a row that came into a plan after it was made."""
READINGS = (StepRole.READ, StepRole.JOIN)
"""What is played at one's own pace, all hands in time."""
PARTS = (StepRole.SECTION, StepRole.HAND_FIRST)
"""What came into the plan because all of it would not hold; it is begun at the tempo of then."""


def _after_its_parts(step: PlanStep) -> PlanStep:
    """The step as it comes after its parts: what breaks now is repaired in it."""
    if step.kind not in READINGS:
        task = replace(
            step.task,
            kind=AssignmentKind.JOIN,
            reason=sections_held_words(step.what),
            is_long=False,
            has_parts=False,
            parts_held=True,
            start_qpm=step.task.qpm,
        )
        return replace(step, task=task)
    again = AGAIN_IN_ONE.format(name=step.what.split(",")[0].removesuffix(" joined"))
    return replace(step, task=replace(step.task, is_reading=False, reason=again))


@dataclass(slots=True)
class EditableRow:
    """One step of the plan, and what became of it."""

    step: PlanStep
    made: int
    """Its number in the plan as it was made; :data:`ADDED` where it came in later."""
    held: bool = False
    left_out: bool = False
    left_today: bool = False
    parent: str = ""
    """What the row is called that was taken apart into this one."""
    read_qpm: float | None = None
    """The tempo at which it was clean, where it was asked for at one's own pace."""

    @property
    def is_open(self) -> bool:
        """Still to be played."""
        return not (self.held or self.left_out or self.left_today)


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

    def mark_held(self, held: bool, qpm: float | None = None) -> None:
        """The row that is now was brought to its goal, or no longer stands there.

        ``qpm`` is the tempo at which it was played.
        """
        row = self.now
        row.held, self._last = held, row
        row.left_today = row.left_today and not held
        if held and row.step.task.qpm is None:
            row.read_qpm = qpm

    @property
    def slowest_read_qpm(self) -> float | None:
        """The slowest tempo at which a stretch was read; None where none was."""
        read = [row.read_qpm for row in self.rows if row.step.kind in READINGS and row.held]
        return min((qpm for qpm in read if qpm), default=None)

    def take_apart(self, row: EditableRow, steps: Sequence[PlanStep]) -> None:
        """So much at once broke: these steps come before it; what breaks then is repaired in it.

        What is on the plan already was learnt and broke all the same: it is repaired in the row.
        Where the last of them is all that the row is, it takes its place.
        """
        known = {one.step.what for one in self.rows}
        fresh = [step for step in steps if step.what not in known]
        is_all = bool(fresh) and fresh[-1].task.window == row.step.task.window
        parent, row.step = row.step.what, fresh.pop() if is_all else _after_its_parts(row.step)
        at = self.rows.index(row)
        self.rows[at:at] = [EditableRow(step, ADDED, parent=parent) for step in fresh]

    def take_hand_first(self, row: EditableRow, step: PlanStep) -> None:
        """One hand of it failed everywhere: that comes before it, unless it was on the plan."""
        reason = HANDS_AGAIN.format(name=row.step.what)
        task = replace(row.step.task, kind=AssignmentKind.JOIN, reason=reason)
        row.step = replace(row.step, task=task)
        if step.what not in {one.step.what for one in self.rows}:
            self.rows.insert(self.rows.index(row), EditableRow(step, ADDED, parent=row.step.what))

    def open_readings(self) -> list[EditableRow]:
        """The first readings that are still to come."""
        return [row for row in self.rows if row.is_open and row.step.kind is StepRole.READ]

    def leave_out_sections(self, row: EditableRow) -> None:
        """Pass over a section and those beside it that are still open: all of it is played."""
        for one in self.rows:
            one.left_out = one.left_out or (one.is_open and one.parent == row.parent)

    def parts_hold(self, row: EditableRow) -> bool:
        """Whether all that a row was taken apart into was brought to its goal."""
        return all(one.held for one in self.rows if one.parent == row.step.what)

    def leave_for_today(self, row: EditableRow) -> None:
        """Leave a row as it is until another day, with all that it is a part of."""
        window = row.step.task.window
        for one in self.rows:
            is_of_it = one is row or (one.is_open and one.step.task.window.contains(window))
            one.left_today = one.left_today or is_of_it

    def set_aside(self, is_in_it: Callable[[Window], bool], instead: Sequence[PlanStep]) -> None:
        """Leave for today what has a place in it; where nothing else is open, play ``instead``, but
        for what is held."""
        for row in self.rows:
            row.left_today = row.left_today or (row.is_open and is_in_it(row.step.task.window))
        if self.is_done:
            held = {row.step.task.window for row in self.rows if row.held}
            self.rows += [
                EditableRow(step, ADDED) for step in instead if step.task.window not in held
            ]

    @property
    def is_left_over(self) -> bool:
        """All is done, but for what was left for today."""
        return self.is_done and any(row.left_today for row in self.rows)

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
            return HELD_ALREADY.format(row=row.step.title)
        if row.left_out:
            return LEFT_OUT_ALREADY.format(row=row.step.title)
        if sum(one.is_open for one in self.rows) == 1:
            return ONLY_THING_LEFT
        row.left_out = True
        return ROW_LEFT_OUT.format(row=row.step.what)

    def adopt_states(self, before: EditablePlan) -> None:
        """Keep what became of the steps that another plan of the same goal has too."""
        known = {row.step.what: row for row in before.rows}
        for row in self.rows:
            same = known.get(row.step.what)
            if same is not None and same.step.task.window == row.step.task.window:
                row.held, row.left_out = same.held, same.left_out
                row.left_today, row.read_qpm = same.left_today, same.read_qpm
                row.step = same.step if row.step.kind in READINGS else row.step
            elif row.step.kind in READINGS:
                self._adopt_reading(row, before)
        for parent, parts in reversed(before._taken_apart().items()):  # the outermost first
            at = next((i for i, row in enumerate(self.rows) if row.step.what == parent), None)
            if at is not None:
                self.rows[at:at] = parts

    def _adopt_reading(self, row: EditableRow, before: EditablePlan) -> None:
        """What was read in a longer stretch needn't be read again in a shorter one."""
        for longer in before.rows:
            was_read = longer.held and longer.step.kind in (*READINGS, StepRole.BAR)
            if was_read and longer.step.task.window.contains(row.step.task.window):
                row.held, row.read_qpm = True, longer.read_qpm

    def _taken_apart(self) -> dict[str, list[EditableRow]]:
        out: dict[str, list[EditableRow]] = {}
        for row in self.rows:
            if row.parent:
                out.setdefault(row.parent, []).append(row)
        return out

    def to_plain(self) -> dict[str, Any]:
        """JSON-ready, for :meth:`restore`."""
        kept = self._kept
        return {
            "order": [row.made for row in kept if not row.parent],
            "held": sorted(row.made for row in kept if row.held and not row.parent),
            "left_out": sorted(row.made for row in kept if row.left_out and not row.parent),
            "last": max(self._last.made, 0),
            "apart": [_apart_to_plain(at, row) for at, row in enumerate(kept) if row.parent],
            "read_before": [
                row.step.what
                for row in kept
                if (row.step.kind in READINGS and not row.step.task.is_reading)
                or row.step.task.parts_held
            ],
            "bars": sorted(r.made for r in kept if r.step.kind is StepRole.BAR and not r.parent),
            "read_qpm": {row.step.what: row.read_qpm for row in kept if row.read_qpm},
        }

    @property
    def _kept(self) -> list[EditableRow]:
        """All rows but those that stand in for a place left for today: they are made anew."""
        return [row for row in self.rows if row.made != ADDED or row.parent]

    def restore(
        self, plain: Mapping[str, Any], make_step: Callable[[StepRole, Window], PlanStep]
    ) -> None:
        """Arrange a freshly made plan as it was kept.

        Raises KeyError, TypeError or ValueError where what was kept is of another plan.
        """
        order = [int(made) for made in plain["order"]]
        if sorted(order) != [row.made for row in self.rows]:
            raise ValueError("the order kept is of another plan")
        made = self.rows
        for at in map(int, plain.get("bars", ())):
            made[at].step = make_step(StepRole.BAR, made[at].step.task.window)
        for at in map(int, plain["held"]):
            made[at].held = True
        for at in map(int, plain["left_out"]):
            made[at].left_out = True
        self._last = made[int(plain["last"])]
        self.rows = [made[at] for at in order]
        for apart in plain.get("apart", ()):
            step = make_step(StepRole(apart["kind"]), window_from_plain(apart["window"]))
            if "start_qpm" in apart:
                step = begin_at(step, apart["start_qpm"])
            row = EditableRow(step, ADDED, bool(apart["held"]), bool(apart["left_out"]))
            row.parent = str(apart["parent"])
            self.rows.insert(int(apart["at"]), row)
        read_before, read_qpm = plain.get("read_before", ()), plain.get("read_qpm", {})
        for row in self.rows:
            if row.step.what in read_before:
                row.step = _after_its_parts(row.step)
            if row.step.what in read_qpm:
                row.read_qpm = float(read_qpm[row.step.what])

    def _move(self, at: int, by: int) -> str:
        """Past the next row that is not held: what is held has no turn any more."""
        row, to = self.rows[at], at + by
        if row.held:
            return HELD_ALREADY_TAKE_UP.format(row=row.step.title)
        while 0 <= to < len(self.rows) and self.rows[to].held:
            to += by
        if not 0 <= to < len(self.rows):
            return (FIRST_ALREADY if by < 0 else LAST_ALREADY).format(row=row.step.title)
        other = self.rows[to]
        self.rows.insert(to, self.rows.pop(at))
        words = MOVED_BEFORE if by < 0 else MOVED_AFTER
        return words.format(row=row.step.title, other=other.step.what)

    def _take_up(self, row: EditableRow) -> str:
        if row.is_open:
            return ON_THE_PLAN_ALREADY.format(row=row.step.title)
        row.held = row.left_out = row.left_today = False
        return ROW_TAKEN_UP.format(row=row.step.what)


def _apart_to_plain(at: int, row: EditableRow) -> dict[str, Any]:
    task = row.step.task
    begun = {"start_qpm": task.start_qpm} if row.step.kind in PARTS else {}
    return begun | {
        "at": at,
        "kind": row.step.kind.value,
        "window": window_to_plain(task.window),
        "parent": row.parent,
        "held": row.held,
        "left_out": row.left_out,
    }


def _row_state(row: EditableRow, now: EditableRow) -> RowState:
    if row.left_out:
        return RowState.LEFT_OUT
    if row.left_today:
        return RowState.LEFT_TODAY
    if row.held:
        return RowState.HELD
    return RowState.NOW if row is now else RowState.TO_COME


# Going on once a goal is reached: the bars that come next, asked for as the last ones were.


def find_new_ground(score: Score, played: Iterable[tuple[Fraction, Fraction]]) -> Goal | None:
    """The first bars that were never played, to be learnt; None where there are none.

    ``played``: where each window that was ever played begins and ends.
    """
    known = set[int]()
    for start, end in played:
        first, last = score.bars_of(start, end)
        known.update(range(first.index, last.index + 1))
    fresh = [
        bar
        for bar in score.bars
        if bar.index not in known
        and _is_played(score, Window(bar.onset_quarters, bar.end_quarters))
    ]
    if not fresh:
        return None
    begin = fresh[0].index
    running = [bar for at, bar in enumerate(fresh[:NEW_BARS]) if bar.index == begin + at]
    window = Window(running[0].onset_quarters, running[-1].end_quarters)
    return Goal(window, score.tempo_at(window.start_quarters), way=Way.LEARN)


def find_next_goal(score: Score, goal: Goal) -> Goal | None:
    """The goal after this one: as many bars again, with the same hands; None after the whole piece.

    The tempo stands to the piece's own as before. After the last bars it is the whole piece, for
    what was learnt in parts has to hold as one. Bars in which these hands rest are passed over.
    """
    hands, start = goal.window.hands, goal.window.start_quarters
    whole = whole_piece(score, hands)
    if goal.window.contains(whole):
        return None
    first, last = score.bars_of(start, goal.window.end_quarters)
    bars = score.bars[last.index + 1 :]
    count = last.index - first.index + 1
    stretches = [bars[at : at + count] for at in range(0, len(bars), count)]
    windows = [Window(some[0].onset_quarters, some[-1].end_quarters, hands) for some in stretches]
    ahead = [one for one in windows if _is_played(score, one)]
    after = ahead[0] if ahead else whole
    proportion = goal.qpm / score.tempo_at(start)
    return replace(
        goal, window=after, qpm=score.tempo_at(after.start_quarters) * proportion, reason=""
    )


def _is_played(score: Score, window: Window) -> bool:
    return bool(score.notes_between(window.start_quarters, window.end_quarters, window.hands))
