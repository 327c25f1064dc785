"""How hard a stretch is to play, from the page: how many onsets, and how far the hands move.

The plan of a piece: which tasks in which order.

Known music is one task: the whole window, repaired where it breaks. New music is learnt bar by
bar (one bar is the usual start: common practice), each hand for itself, then together; and two
learnt neighbours are joined before a third bar is begun. At the end stands the whole at its tempo.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from itertools import pairwise

from coach.coaching.diagnosis import fitts_bits
from coach.coaching.model import Goal, Kind, Order, Way
from coach.coaching.practice import Task, two_thirds_of
from coach.coaching.windows import Places
from coach.coaching.wording import stretch_words
from coach.judging.model import Stage
from coach.score.model import Hands
from coach.score.window import Window


def difficulty(places: Places, window: Window) -> float:
    """Bits of aiming (Fitts) a quarter note, over the hands, and one bit more for each onset."""
    hands = [one for one in places.hands_in_use if one.members <= window.hands.members]
    bits = sum(_bits(places, window.of(one), one) for one in hands)
    return bits / max(float(window.end_quarters - window.start_quarters), 0.25)


def _bits(places: Places, window: Window, hands: Hands) -> float:
    notes = places.score.notes_between(window.start_quarters, window.end_quarters, hands)
    onsets = sorted({note.onset_quarters for note in notes})
    tops = [max(n.pitch for n in notes if n.onset_quarters == at) for at in onsets]
    return len(onsets) + sum(fitts_bits(after - before) for before, after in pairwise(tops))


LEARNING_SHARE = 0.75
"""Tempo that a new bar is brought to, as a share of the goal's; the whole does the rest."""
BEGIN_SHARE = 0.55
"""Tempo that a new bar begins at. Both shares are our choice."""
SEAM_BARS = 2
"""Bars on each side of a seam that are played when two learnt stretches are joined."""


class RowState(StrEnum):
    """What became of a row of the plan."""

    HELD = "held"
    NOW = "now"
    TO_COME = "to come"
    LEFT_OUT = "left out"


@dataclass(frozen=True, slots=True)
class PlanRow:
    """One line of the plan, for people."""

    what: str
    """``bar 3, left hand alone``"""
    window: Window
    state: RowState


@dataclass(frozen=True, slots=True)
class Step:
    """A task of the plan and what it is called."""

    task: Task
    what: str

    @property
    def title(self) -> str:
        """What it is called, at the beginning of a sentence."""
        return self.what[:1].upper() + self.what[1:]


def steps(places: Places, goal: Goal) -> tuple[Step, ...]:
    """Every step of the way to the goal, in order; always at least one."""
    if goal.way is Way.REPAIR:
        return (Step(_whole(goal), stretch_words(places.score, goal.window)),)
    units = _units(places, goal.window)
    made: list[Step] = []
    learnt: list[int] = []
    for unit in _ordered(places, goal, units):
        made += _new_bar(places, goal, units[unit])
        learnt.append(unit)
        made += _joins(places, goal, units, learnt, unit)
    at_last = replace(
        _whole(goal),
        start_qpm=_at(goal, LEARNING_SHARE),
        kind=Kind.WIDEN,
        reason="You have all its bars: now the whole of it.",
    )
    return (*made, Step(at_last, stretch_words(places.score, goal.window)))


def _whole(goal: Goal) -> Task:
    """All of it, at the tempo asked for; as a weak spot of an earlier day, where it is one."""
    qpm = None if goal.own_pace else goal.qpm
    task = Task(goal.window, qpm, goal.stage, goal.clean_required, qpm)
    return replace(task, kind=Kind.REVIEW, reason=goal.reason) if goal.reason else task


def _at(goal: Goal, share: float) -> float | None:
    return None if goal.own_pace else goal.qpm * share


def _units(places: Places, window: Window) -> list[Window]:
    """The bars of a window, a pickup with the bar after it; only those with something to play."""
    bars = places.score.bars
    found: list[Window] = []
    start: Fraction | None = None
    for bar in bars:
        if bar.end_quarters <= window.start_quarters or bar.onset_quarters >= window.end_quarters:
            continue
        start = max(bar.onset_quarters, window.start_quarters) if start is None else start
        if bar.is_pickup and bar.end_quarters < window.end_quarters:
            continue
        cut = places.clip(start, bar.end_quarters, window.hands)
        if _has_notes(places, cut):
            found.append(cut)
        start = None
    return found


def _has_notes(places: Places, window: Window) -> bool:
    return bool(
        places.score.notes_between(window.start_quarters, window.end_quarters, window.hands)
    )


def _ordered(places: Places, goal: Goal, units: list[Window]) -> list[int]:
    order = list(range(len(units)))
    if goal.order is Order.FROM_END:
        order.reverse()
    elif goal.order is Order.HARD_FIRST:
        order.sort(key=lambda i: -difficulty(places, units[i]))
    return order


def _new_bar(places: Places, goal: Goal, bar: Window) -> Iterator[Step]:
    """A bar's stages: each hand's notes at one's own pace, then together in time."""
    name = stretch_words(places.score, bar)
    hands = [h for h in (Hands.RIGHT, Hands.LEFT) if h.members <= bar.hands.members]
    playing = [h for h in hands if _has_notes(places, bar.of(h))]
    part = two_thirds_of(goal.clean_required)
    if len(playing) == 2:
        for hand in playing:
            whose = "right hand alone" if hand is Hands.RIGHT else "left hand alone"
            reason = f"New: {name}, {whose}, the right keys at your own pace."
            task = Task(bar.of(hand), None, Stage.NOTES, part, None, Kind.APART, reason)
            yield Step(task, f"{name}, {whose}")
    what = "hands together" if len(playing) == 2 else "in time"
    task = Task(
        bar,
        _at(goal, LEARNING_SHARE),
        Stage.RHYTHM,
        goal.clean_required,
        _at(goal, BEGIN_SHARE),
        Kind.JOIN if len(playing) == 2 else Kind.DRILL,
        f"{name[0].upper()}{name[1:]}, {what}, slowly.",
    )
    yield Step(task, f"{name}, {what}")


def _joins(
    places: Places, goal: Goal, units: list[Window], learnt: list[int], new: int
) -> Iterator[Step]:
    """The seams that the new bar makes with learnt neighbours."""
    made = {goal.window}  # the whole comes last anyway
    for left, right in ((new - 1, new), (new, new + 1)):
        if left in learnt and right in learnt:
            first, last = _reach(learnt, left, -1), _reach(learnt, right, 1)
            cut = places.clip(
                units[first].start_quarters, units[last].end_quarters, goal.window.hands
            )
            if cut not in made:
                made.add(cut)
                yield _join(places, goal, cut)


def _join(places: Places, goal: Goal, cut: Window) -> Step:
    name, qpm = stretch_words(places.score, cut), _at(goal, LEARNING_SHARE)
    part = two_thirds_of(goal.clean_required)
    reason = f"Join them: {name}, over the barline."
    return Step(Task(cut, qpm, Stage.RHYTHM, part, qpm, Kind.JOIN, reason), f"{name} joined")


def _reach(learnt: list[int], seam: int, step: int) -> int:
    """The furthest learnt bar from a seam, SEAM_BARS at most."""
    at = seam
    while at + step in learnt and abs(at + step - seam) < SEAM_BARS:
        at += step
    return at
