"""What the coach knows as plain JSON data, and back: decisions, troubles, and where it stands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from fractions import Fraction
from typing import Any

from coach.coaching.diagnosis import TroubleProbe
from coach.coaching.model import Assignment, AssignmentKind, Decision, Goal, Order, Trouble, Way
from coach.coaching.practice import (
    PlaceCheck,
    RepairLadder,
    RunCounts,
    TaskRunner,
    TempoLadder,
    build_rungs,
)
from coach.coaching.windows import PracticeMap
from coach.coaching.wording import ON_FROM_WHERE_YOU_STOPPED
from coach.judging.model import Stage
from coach.score.forms import WrittenForm
from coach.score.model import Hands
from coach.score.window import Excerpt, Transition, Window

# What the coach asks for and believes, as plain data for JSON and for other programs.
#
# Positions are quarters from the piece's start, as exact strings ("7/2"); beats are counted on the
# grid of the window given, 0 at its first beat.


def window_to_plain(window: Window) -> dict[str, Any]:
    """Start, end and hands."""
    return {
        "start_quarters": str(window.start_quarters),
        "end_quarters": str(window.end_quarters),
        "hands": window.hands.value,
        "landing": window.landing,
        "form": window.form.value,
    }


def window_from_plain(plain: Mapping[str, Any]) -> Window:
    """The window back. Raises KeyError or ValueError where it is none."""
    return Window(
        Fraction(plain["start_quarters"]),
        Fraction(plain["end_quarters"]),
        Hands(plain["hands"]),
        bool(plain["landing"]),
        WrittenForm(plain.get("form", WrittenForm.AS_WRITTEN.value)),
    )


def assignment_to_plain(assignment: Assignment) -> dict[str, Any]:
    """Window, tempo, stage, clean run asked for, kind and reason."""
    return {
        "window": window_to_plain(assignment.window),
        "qpm": assignment.qpm,
        "stage": assignment.stage.value,
        "clean_required": assignment.clean_required,
        "kind": assignment.kind.value,
        "click": assignment.click,
        "reason": assignment.reason,
    }


def trouble_to_plain(trouble: Trouble, within: Excerpt | None = None) -> dict[str, Any]:
    """Hand, transition, sureness and evidence; with an excerpt also beats on its grid."""
    plain: dict[str, Any] = {
        "hand": trouble.hands.value,
        "from_quarters": str(trouble.transition.from_quarters),
        "to_quarters": str(trouble.transition.to_quarters),
        "onset_quarters": str(trouble.onset_quarters),
        "kind": trouble.kind.value,
        "sure": round(trouble.sure, 4),
        "evidence": trouble.evidence,
        "place": trouble.place,
        "open_hand": trouble.open_hand,
    }
    if within is not None:
        plain["from_beat"] = round(within.beat_of(trouble.transition.from_quarters))
        plain["to_beat"] = round(within.beat_of(trouble.transition.to_quarters))
    return plain


def decision_to_plain(decision: Decision, within: Excerpt | None = None) -> dict[str, Any]:
    """The assignment, the clean run, the trouble and the offers."""
    trouble = decision.trouble
    return {
        "assignment": assignment_to_plain(decision.assignment),
        "changed": decision.changed,
        "clean_run": decision.clean_run,
        "trouble": trouble and trouble_to_plain(trouble, within),
        "troubles": [trouble_to_plain(one, within) for one in decision.troubles],
        "finished": decision.finished,
        "enough": decision.enough,
        "proposals": list(decision.proposals),
        "note": decision.note,
    }


# Where a drill stands, as plain data: what is needed to take it up again another day.
#
# Kept are the goal, the window that was under repair and on which rung, the tempo reached, and the
# clean run so far; beside them the sums of what was heard
# (:mod:`coach.coaching.diagnosis.evidence`).


FORMAT = 6
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
        "is_set_work": goal.is_set_work,
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
        bool(plain.get("is_set_work", False)),
    )


def runner_to_plain(runner: TaskRunner) -> dict[str, Any]:
    """The task under way, JSON-ready. The keys are those of records that pianists have."""
    ladder = runner.ladder
    wished = runner.requested is not None  # a wish of the moment is not kept, nor its clean run
    return {
        "climb": runner.tempo.to_plain(),
        "run": asdict(RunCounts() if wished else runner.run),
        "looking": None if wished else window_to_plain(runner.assignment.window),
        "mended": [[str(beat), times] for beat, times in runner.repair.mended_beats.items()],
        "searched": runner.locating.searched,
        "heard_more": runner.locating.heard_more,
        "left_alone": [str(beat) for beat in sorted(runner.locating.left_alone)],
        "passed_over": [str(beat) for beat in sorted(runner.locating.passed_over)],
        "broke": runner.broke,
        "done": runner.done,
        "proved": [str(beat) for beat in sorted(runner.locating.proved)],
        "wholes_left": runner.wholes_left,
        "surer": runner.is_surer,
        "times": runner.locating.times,
        "check": None if wished else _check_to_plain(runner.locating.probe),
        "case": None if ladder is None else _ladder_to_plain(ladder),
    }


def restore_runner(runner: TaskRunner, plain: Mapping[str, Any], practice_map: PracticeMap) -> None:
    """Set a fresh runner to where it stood.

    Raises KeyError, TypeError or ValueError where the state is none; the runner is then spoilt.
    """
    runner.tempo = TempoLadder.from_plain(plain["climb"])
    runner.repair.mended_beats = {Fraction(beat): int(times) for beat, times in plain["mended"]}
    runner.locating.left_alone = {Fraction(beat) for beat in plain["left_alone"]}
    runner.locating.passed_over = {Fraction(beat) for beat in plain.get("passed_over", ())}
    runner.locating.searched = int(plain.get("searched", 0))
    runner.locating.heard_more = int(plain.get("heard_more", 0))
    runner.repair.ladder = (
        _ladder_from_plain(plain["case"], practice_map, runner.task.window)
        if plain["case"]
        else None
    )
    runner.locating.proved = {Fraction(beat) for beat in plain.get("proved", ())}
    runner.locating.times = int(plain.get("times", 1))
    runner.wholes_left = int(plain.get("wholes_left", 0))
    runner.is_surer = bool(plain.get("surer", False))
    if check := plain.get("check"):
        runner.locating.probe = _check_from_plain(check)
    runner.broke = bool(plain.get("broke", False))
    runner.done = bool(plain["done"])
    looking = window_from_plain(plain["looking"]) if plain["looking"] else runner.task.window
    window = runner.ladder.window if runner.ladder else looking
    runner.assign(window, AssignmentKind.DRILL, ON_FROM_WHERE_YOU_STOPPED)
    runner.run = RunCounts(**{name: int(count) for name, count in plain["run"].items()})


def _check_to_plain(probe: TroubleProbe | PlaceCheck | None) -> dict[str, Any] | None:
    if not isinstance(probe, PlaceCheck):
        return None
    return {
        **probe.transition.to_plain(),
        "window": window_to_plain(probe.window),
        "clean_required": probe.clean_required,
        "wholes_left": probe.wholes_left,
    }


def _check_from_plain(plain: Mapping[str, Any]) -> PlaceCheck:
    return PlaceCheck(
        Transition.from_plain(plain),
        window_from_plain(plain["window"]),
        int(plain["clean_required"]),
        int(plain["wholes_left"]),
    )


def _ladder_to_plain(ladder: RepairLadder) -> dict[str, Any]:
    return {
        **ladder.transition.to_plain(),
        "at": ladder.at,
        "start": ladder.start,
        "unclean": ladder.unclean,
        "held": ladder.held,
        "widest": ladder.widest,
        "broke": ladder.broke,
        "climb": ladder.tempo.to_plain(),
    }


def _ladder_from_plain(
    plain: Mapping[str, Any], practice_map: PracticeMap, whole: Window
) -> RepairLadder:
    move = Transition.from_plain(plain)
    windows, _ = build_rungs(practice_map, move, whole)
    at = min(max(int(plain["at"]), 0), len(windows) - 1)
    tempo = TempoLadder.from_plain(plain["climb"])
    start, unclean, held = int(plain["start"]), int(plain["unclean"]), bool(plain["held"])
    widest, broke = int(plain["widest"]), int(plain["broke"])
    return RepairLadder(move, windows, at, tempo, start, unclean, held, widest, broke)
