"""Where a drill stands, as plain data: what is needed to take it up again another day.

Kept are the goal, the window that was being mended and on which rung, the tempo reached, and the
clean run so far; beside them the sums of what was heard (:mod:`coach.coaching.diagnosis.evidence`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from fractions import Fraction
from typing import Any

from coach.coaching.model import Goal, Kind, Order, Way
from coach.coaching.practice import Case, Climb, Run, Work, rungs
from coach.coaching.serialize import window_from_plain, window_to_plain
from coach.coaching.windows import Places
from coach.judging.model import Stage
from coach.score.model import Hands
from coach.score.window import Transition, Window

FORMAT = 5
"""Raised when a state of before can't be read any more: it is then passed over."""


def goal_to_plain(goal: Goal) -> dict[str, Any]:
    """The goal, JSON-ready."""
    return {
        "window": window_to_plain(goal.window),
        "qpm": goal.qpm,
        "stage": goal.stage.value,
        "clean_required": goal.clean_required,
        "way": goal.way.value,
        "order": goal.order.value,
        "own_pace": goal.own_pace,
        "reason": goal.reason,
    }


def goal_from_plain(plain: Mapping[str, Any]) -> Goal:
    """The goal back. Raises KeyError, TypeError or ValueError where it is none."""
    return Goal(
        window_from_plain(plain["window"]),
        float(plain["qpm"]),
        Stage(plain["stage"]),
        int(plain["clean_required"]),
        Way(plain["way"]),
        Order(plain["order"]),
        bool(plain["own_pace"]),
        str(plain["reason"]),
    )


def work_to_plain(work: Work) -> dict[str, Any]:
    """The work under way, JSON-ready."""
    case = work.case
    wished = work.asked is not None  # a wish of the moment is not kept, nor its clean run
    return {
        "climb": work.climb.plain(),
        "run": asdict(Run() if wished else work.run),
        "looking": None if wished else window_to_plain(work.assignment.window),
        "mended": [[str(beat), times] for beat, times in work.mending.mended.items()],
        "hearings": work.finding.hearings,
        "left_alone": [str(beat) for beat in sorted(work.finding.left_alone)],
        "done": work.done,
        "case": None if case is None else _case(case),
    }


def take_up(work: Work, plain: Mapping[str, Any], places: Places) -> None:
    """Set fresh work to where it stood.

    Raises KeyError, TypeError or ValueError where the state is none; the work is then spoilt.
    """
    work.climb = Climb.from_plain(plain["climb"])
    work.mending.mended = {Fraction(beat): int(times) for beat, times in plain["mended"]}
    work.finding.left_alone = {Fraction(beat) for beat in plain["left_alone"]}
    work.finding.hearings = int(plain["hearings"])
    work.mending.case = (
        _case_from(plain["case"], places, work.task.window) if plain["case"] else None
    )
    work.done = bool(plain["done"])
    looking = window_from_plain(plain["looking"]) if plain["looking"] else work.task.window
    window = work.case.window if work.case else looking
    work.give(window, Kind.DRILL, "On from where you stopped.")
    work.run = Run(**{name: int(count) for name, count in plain["run"].items()})


def _case(case: Case) -> dict[str, Any]:
    move = case.transition
    return {
        "hands": move.hands.value,
        "from": str(move.from_quarters),
        "to": str(move.to_quarters),
        "at": case.at,
        "start": case.start,
        "unclean": case.unclean,
        "held": case.held,
        "climb": case.climb.plain(),
    }


def _case_from(plain: Mapping[str, Any], places: Places, whole: Window) -> Case:
    move = Transition(Hands(plain["hands"]), Fraction(plain["from"]), Fraction(plain["to"]))
    windows, _ = rungs(places, move, whole)
    at = min(max(int(plain["at"]), 0), len(windows) - 1)
    climb = Climb.from_plain(plain["climb"])
    start, unclean, held = int(plain["start"]), int(plain["unclean"]), bool(plain["held"])
    return Case(move, windows, at, climb, start, unclean, held)
