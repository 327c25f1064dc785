"""The plan of a piece: which tasks in which order, and how hard a stretch is to play (Fitts 1954).

Known music is one task: the whole window, repaired where it breaks. New music is learnt bar by
bar (one bar is the usual start: common practice), each hand for itself, then together; and two
learnt neighbours are joined before a third bar is begun. At the end stands the whole at its tempo.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from itertools import pairwise
from typing import Any

from coach.coaching.diagnosis import fitts_bits
from coach.coaching.model import AssignmentKind, Goal, Order, PlanChange, Way
from coach.coaching.practice import Task, two_thirds_of
from coach.coaching.windows import PracticeMap
from coach.coaching.wording import (
    FIRST_ALREADY,
    HANDS,
    HELD_ALREADY,
    HELD_ALREADY_TAKE_UP,
    IN_TIME,
    JOIN_THEM,
    JOINED,
    LAST_ALREADY,
    LEFT_OUT_ALREADY,
    MOVED_AFTER,
    MOVED_BEFORE,
    NEW_BAR,
    NEW_TOGETHER,
    NOW_ON_FROM_THERE,
    ON_THE_PLAN_ALREADY,
    ONLY_THING_LEFT,
    ROW_LEFT_OUT,
    ROW_TAKEN_UP,
    WHOLE_AT_LAST,
    stretch_words,
)
from coach.judging.model import Stage
from coach.score.model import Hands, Score
from coach.score.window import Transition, Window, whole_piece


def difficulty(practice_map: PracticeMap, window: Window) -> float:
    """Bits of aiming (Fitts) a quarter note, over the hands, and one bit more for each onset."""
    hands = [one for one in practice_map.hands_in_use if one.members <= window.hands.members]
    bits = sum(_bits(practice_map, window.of(one), one) for one in hands)
    return bits / max(float(window.end_quarters - window.start_quarters), SHORTEST_QUARTERS)


def _bits(practice_map: PracticeMap, window: Window, hands: Hands) -> float:
    notes = practice_map.score.notes_between(window.start_quarters, window.end_quarters, hands)
    onsets = sorted({note.onset_quarters for note in notes})
    tops = [max(n.pitch for n in notes if n.onset_quarters == at) for at in onsets]
    return ONSET_BITS * len(onsets) + sum(
        fitts_bits(after - before) for before, after in pairwise(tops)
    )


LEARNING_SHARE = 0.75
"""Tempo that a new bar is brought to, as a share of the goal's. Own choice, because the joins and
the whole do the rest."""
BEGIN_SHARE = 0.55
"""Tempo that a new bar begins at, as a share of the goal's. Own choice, because it is a little more
than half, under which it is another movement."""
SEAM_BARS = 2
"""Bars on each side of a seam that are played when two learnt stretches are joined. Own choice,
because a phrase of four bars is what one remembers."""
NEW_BARS = 4
"""Bars of new ground that are offered at once. Own choice: a phrase, mostly."""
SHORTEST_QUARTERS = 0.25
"""A stretch counts as no shorter than this, so that a grace note's is not endlessly hard."""
ONSET_BITS = 1
"""Bits that each onset adds to a stretch's difficulty. Own choice: one more key to be found."""


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


@dataclass(frozen=True, slots=True)
class PlanStep:
    """A task of the plan and what it is called."""

    task: Task
    what: str

    @property
    def title(self) -> str:
        """What it is called, at the beginning of a sentence."""
        return self.what[:1].upper() + self.what[1:]


def make_steps(practice_map: PracticeMap, goal: Goal) -> tuple[PlanStep, ...]:
    """Every step of the way to the goal, in order; always at least one."""
    if goal.way is Way.REPAIR:
        return (PlanStep(_task_of_whole(goal), stretch_words(practice_map.score, goal.window)),)
    units = _bars_to_learn(practice_map, goal.window)
    made: list[PlanStep] = []
    learnt: list[int] = []
    for unit in _order_bars(practice_map, goal, units):
        made += _steps_of_bar(practice_map, goal, units[unit])
        learnt.append(unit)
        made += _steps_of_joins(practice_map, goal, units, learnt, unit)
    at_last = replace(
        _task_of_whole(goal),
        start_qpm=_qpm_at_share(goal, LEARNING_SHARE),
        kind=AssignmentKind.WIDEN,
        reason=WHOLE_AT_LAST,
    )
    return (*made, PlanStep(at_last, stretch_words(practice_map.score, goal.window)))


def _task_of_whole(goal: Goal) -> Task:
    """All of it, at the tempo asked for; as a weak spot of an earlier day, where it is one."""
    qpm = None if goal.own_pace else goal.qpm
    task = Task(goal.window, qpm, goal.stage, goal.clean_required, qpm)
    return replace(task, kind=AssignmentKind.REVIEW, reason=goal.reason) if goal.reason else task


def _qpm_at_share(goal: Goal, share: float) -> float | None:
    return None if goal.own_pace else goal.qpm * share


def _bars_to_learn(practice_map: PracticeMap, window: Window) -> list[Window]:
    """The bars of a window, a pickup with the bar after it; only those with something to play."""
    bars = practice_map.score.bars
    found: list[Window] = []
    start: Fraction | None = None
    for bar in bars:
        if bar.end_quarters <= window.start_quarters or bar.onset_quarters >= window.end_quarters:
            continue
        start = max(bar.onset_quarters, window.start_quarters) if start is None else start
        if bar.is_pickup and bar.end_quarters < window.end_quarters:
            continue
        cut = practice_map.clip(start, bar.end_quarters, window.hands)
        if _has_notes(practice_map, cut):
            found.append(cut)
        start = None
    return found


def _has_notes(practice_map: PracticeMap, window: Window) -> bool:
    return bool(
        practice_map.score.notes_between(window.start_quarters, window.end_quarters, window.hands)
    )


def _order_bars(practice_map: PracticeMap, goal: Goal, units: list[Window]) -> list[int]:
    order = list(range(len(units)))
    if goal.order is Order.FROM_END:
        order.reverse()
    elif goal.order is Order.HARD_FIRST:
        order.sort(key=lambda i: -difficulty(practice_map, units[i]))
    return order


def _steps_of_bar(practice_map: PracticeMap, goal: Goal, bar: Window) -> Iterator[PlanStep]:
    """A bar's stages: each hand's notes at one's own pace, then together in time."""
    name = stretch_words(practice_map.score, bar)
    hands = [h for h in (Hands.RIGHT, Hands.LEFT) if h.members <= bar.hands.members]
    playing = [h for h in hands if _has_notes(practice_map, bar.of(h))]
    part = two_thirds_of(goal.clean_required)
    if len(playing) == 2:
        for hand in playing:
            whose = HANDS[hand]
            reason = NEW_BAR.format(name=name, hand=whose)
            task = Task(bar.of(hand), None, Stage.NOTES, part, None, AssignmentKind.APART, reason)
            yield PlanStep(task, f"{name}, {whose}")
    what = HANDS[Hands.TOGETHER] if len(playing) == 2 else IN_TIME
    task = Task(
        bar,
        _qpm_at_share(goal, LEARNING_SHARE),
        Stage.RHYTHM,
        goal.clean_required,
        _qpm_at_share(goal, BEGIN_SHARE),
        AssignmentKind.JOIN if len(playing) == 2 else AssignmentKind.DRILL,
        NEW_TOGETHER.format(name=name[0].upper() + name[1:], how=what),
    )
    yield PlanStep(task, f"{name}, {what}")


def _steps_of_joins(
    practice_map: PracticeMap, goal: Goal, units: list[Window], learnt: list[int], new: int
) -> Iterator[PlanStep]:
    """The seams that the new bar makes with learnt neighbours."""
    made = {goal.window}  # the whole comes last anyway
    for left, right in ((new - 1, new), (new, new + 1)):
        if left in learnt and right in learnt:
            first, last = _furthest_learnt(learnt, left, -1), _furthest_learnt(learnt, right, 1)
            cut = practice_map.clip(
                units[first].start_quarters, units[last].end_quarters, goal.window.hands
            )
            if cut not in made:
                made.add(cut)
                yield _step_of_join(practice_map, goal, cut)


def _step_of_join(practice_map: PracticeMap, goal: Goal, cut: Window) -> PlanStep:
    name, qpm = stretch_words(practice_map.score, cut), _qpm_at_share(goal, LEARNING_SHARE)
    part = two_thirds_of(goal.clean_required)
    reason = JOIN_THEM.format(name=name)
    task = Task(cut, qpm, Stage.RHYTHM, part, qpm, AssignmentKind.JOIN, reason)
    return PlanStep(task, JOINED.format(name=name))


def _furthest_learnt(learnt: list[int], seam: int, step: int) -> int:
    """The furthest learnt bar from a seam, SEAM_BARS at most."""
    at = seam
    while at + step in learnt and abs(at + step - seam) < SEAM_BARS:
        at += step
    return at


LEAST_PART_BEATS = 2
"""Beats of a part that is played while a place in the middle is left. Own choice: shorter is no
music."""


def make_parts(
    practice_map: PracticeMap, goal: Goal, place: Transition, reason: str
) -> tuple[PlanStep, ...]:
    """What is left of the goal without a place: up to it, and on from it."""
    whole = goal.window
    parts = [
        replace(whole, end_quarters=max(place.from_quarters, whole.start_quarters), landing=True),
        replace(whole, start_quarters=min(place.to_quarters, whole.end_quarters)),
    ]
    out: list[PlanStep] = []
    for part in parts:
        long_enough = part.end_quarters > part.start_quarters and (
            practice_map.beats(part) >= LEAST_PART_BEATS
        )
        if long_enough and _has_notes(practice_map, part):
            task = replace(_task_of_whole(goal), window=part, kind=AssignmentKind.NARROW)
            words = reason if not out else NOW_ON_FROM_THERE
            name = stretch_words(practice_map.score, part)
            out.append(PlanStep(replace(task, reason=words), name))
    return tuple(out)


# The plan as the pianist edits it: its order, what is held, and what is left out.
#
# One law holds it together: the row that is now is the first that is neither held nor left out.
# Whatever is moved, left out or taken up again, that law says what is played next. Every change
# answers with one sentence: what was done, or why it can't be.


ADDED = -1
"""The number of a row that came into a plan after it was made."""


@dataclass(slots=True)
class EditableRow:
    """One step of the plan, and what became of it."""

    step: PlanStep
    made: int
    """Its number in the plan as it was made; :data:`ADDED` where it came in later."""
    held: bool = False
    left_out: bool = False
    left_today: bool = False

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

    def mark_held(self, held: bool) -> None:
        """The row that is now was brought to its goal, or no longer stands there."""
        row = self.now
        row.held, self._last = held, row

    def set_aside(self, is_in_it: Callable[[Window], bool], instead: Sequence[PlanStep]) -> None:
        """Leave for today what has a place in it; where nothing else is open, play ``instead``."""
        for row in self.rows:
            row.left_today = row.left_today or (row.is_open and is_in_it(row.step.task.window))
        if self.is_done:
            self.rows += [EditableRow(step, ADDED) for step in instead]

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
                row.left_today = same.left_today

    def to_plain(self) -> dict[str, Any]:
        """JSON-ready, for :meth:`restore`."""
        return {
            "order": [row.made for row in self._made],
            "held": sorted(row.made for row in self._made if row.held),
            "left_out": sorted(row.made for row in self._made if row.left_out),
            "last": max(self._last.made, 0),
        }

    @property
    def _made(self) -> list[EditableRow]:
        """The rows of the plan as it was made: what came in later is made anew."""
        return [row for row in self.rows if row.made != ADDED]

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
