"""The pianist's wishes: smaller, larger, slower, quicker, the other hand, on, not this.

The coach follows and does not argue; what changes nothing is answered by the words of
``as_far_as_it_goes``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

from coach.coaching.model import AssignmentKind, Request
from coach.coaching.practice.repair import RepairLadder, build_rungs
from coach.coaching.practice.task import RunCounts
from coach.coaching.practice.task_runner import TaskRunner
from coach.coaching.practice.tempo import move_by_marks
from coach.coaching.wording import (
    AS_ASKED,
    LARGER_AS_ASKED,
    LEFT_ALONE,
    SMALLER_AS_ASKED,
    STAYING,
)
from coach.score.model import Hands
from coach.score.window import Window

TEMPO_MARKS = 2
"""Metronome marks that "slower" and "faster" go. Own choice: a tenth of the tempo is felt at
once."""
_NEXT_HANDS = {
    Hands.TOGETHER: Hands.RIGHT,
    Hands.RIGHT: Hands.LEFT,
    Hands.LEFT: Hands.TOGETHER,
}


def follow_request(runner: TaskRunner, request: Request) -> None:
    """Change what is asked for as the pianist wishes."""
    runner.stays = False
    _FOLLOW[request](runner)


def _set_tempo(runner: TaskRunner, quicker_marks: int) -> None:
    asked, tempo = runner.assignment, runner.tempo_now
    beat = runner.practice_map.beat_quarters(asked.window)
    if runner.requested is not None:  # an exercise, or a wish: its tempo is its own, if it has one
        if asked.qpm is not None:
            qpm = move_by_marks(asked.qpm, beat, quicker_marks)
            runner.requested = runner.assignment = replace(asked, qpm=qpm, reason=AS_ASKED)
        runner.run = RunCounts()
        return
    if tempo.now_qpm is not None:  # of a probe it may be another than the passage's
        tempo.now_qpm = move_by_marks(asked.qpm or tempo.now_qpm, beat, quicker_marks)
        tempo.before_trial_qpm = None
    runner.run = RunCounts()
    runner.assign(asked.window, AssignmentKind.ASKED, AS_ASKED)


def _play_smaller(runner: TaskRunner) -> None:
    """The largest rung that lies inside what is played now: never longer, never another hand."""
    now, ladder = runner.assignment.window, runner.ladder
    if ladder is None or not _smaller_rungs(ladder, now):
        ladder = _make_ladder(runner, now)
    inside = _smaller_rungs(ladder, now) if ladder else []
    if ladder and inside:
        runner.repair.ladder, runner.locating.probe = ladder, None
        ladder.start = min(ladder.start, inside[-1])
        _turn_to_rung(runner, ladder, inside[-1], SMALLER_AS_ASKED)


def _play_larger(runner: TaskRunner) -> None:
    """The smallest rung that what is played now lies inside; past the last, the whole."""
    now, ladder = runner.assignment.window, runner.ladder
    around = (
        [i for i, w in enumerate(ladder.rungs) if w != now and w.contains(now)] if ladder else []
    )
    if ladder is not None and around:
        _turn_to_rung(runner, ladder, around[0], LARGER_AS_ASKED)
    else:
        _leave_trouble(runner)


def _turn_to_rung(runner: TaskRunner, ladder: RepairLadder, at: int, reason: str) -> None:
    runner.requested = runner.exercise = None
    ladder.at, ladder.unclean = at, 0
    runner.assign(ladder.window, AssignmentKind.ASKED, reason)


def _smaller_rungs(ladder: RepairLadder, now: Window) -> list[int]:
    """The ladder's rungs that are smaller than a window, smallest first."""
    return [i for i, w in enumerate(ladder.rungs) if w != now and now.contains(w)]


def _make_ladder(runner: TaskRunner, now: Window) -> RepairLadder | None:
    """A ladder for what is being looked into, or for what failed most in a window."""
    probe = runner.locating.probe
    move = probe.transition if probe else runner.locating.worst_move(now)
    if move is None:
        return None
    if not move.hands.members <= now.hands.members:
        move = replace(move, hands=now.hands)
    windows, _ = build_rungs(runner.practice_map, move, runner.task.window)
    top = len(windows) - 1
    return RepairLadder(move, windows, top, runner.new_repair_tempo(), top)


def _play_other_hand(runner: TaskRunner) -> None:
    window = runner.assignment.window
    for hands in (_NEXT_HANDS[window.hands], _NEXT_HANDS[_NEXT_HANDS[window.hands]]):
        cut = runner.practice_map.clip(window.start_quarters, window.end_quarters, hands)
        if cut.hands is hands and cut != window:
            break
    runner.assign_instead(
        replace(runner.assignment, window=cut, kind=AssignmentKind.ASKED, reason=AS_ASKED)
    )


def _play_again(runner: TaskRunner) -> None:
    runner.run = RunCounts()


def _go_on(runner: TaskRunner) -> None:
    """Away from the trouble in hand; and for today, where it is passed over a second time."""
    place = _beat_at_hand(runner)
    if place in runner.locating.passed_over:
        _leave_trouble_alone(runner)
        return
    if place is not None:
        runner.locating.passed_over.add(place)
    _leave_trouble(runner)


def _beat_at_hand(runner: TaskRunner) -> Fraction | None:
    """The beat that the trouble in hand lies at."""
    at_hand = runner.locating.probe or runner.ladder
    return at_hand.transition.to_quarters if at_hand is not None else None


def _leave_trouble(runner: TaskRunner, reason: str = AS_ASKED) -> None:
    """Back to the whole."""
    runner.requested = runner.repair.ladder = runner.locating.probe = None
    runner.exercise = None
    runner.assign(runner.task.window, AssignmentKind.ASKED, reason)


def _leave_trouble_alone(runner: TaskRunner) -> None:
    place = _beat_at_hand(runner)
    if place is not None:
        runner.locating.left_alone.add(place)
    _leave_trouble(runner, AS_ASKED if place is None else LEFT_ALONE)


def _say_it_is_hard(runner: TaskRunner) -> None:
    """Another way of practising what is being played, and sooner the next time."""
    ladder = runner.ladder or _make_ladder(runner, runner.assignment.window)
    if ladder is None:
        return
    if runner.ladder is None:
        ladder.at = ladder.start = _drilled_rung(runner, ladder)
    runner.repair.ladder, runner.locating.probe = ladder, None
    runner.repair.work_at(ladder).is_hard = True
    if not runner.practise_otherwise(ladder):
        _set_tempo(runner, -TEMPO_MARKS)


def _drilled_rung(runner: TaskRunner, ladder: RepairLadder) -> int:
    windows, start = build_rungs(runner.practice_map, ladder.transition, runner.task.window)
    return start if windows == ladder.rungs else 0


def _stay(runner: TaskRunner) -> None:
    runner.stays = True
    runner.assignment = replace(runner.assignment, kind=AssignmentKind.ASKED, reason=STAYING)


def _count_anew(runner: TaskRunner) -> None:
    """With another fingering the hand is another: what failed before counts for less."""
    ladder, probe = runner.ladder, runner.locating.probe
    move = ladder.transition if ladder else probe.transition if probe else None
    move = move or runner.locating.worst_move(runner.assignment.window)
    if move is not None:
        runner.locating.evidence.discount_mended(move.to_quarters, Hands.TOGETHER)
        runner.repair.works.pop(move.to_quarters, None)
    if ladder is not None:
        ladder.tempo.turn_to_other_window()
    runner.run = RunCounts()


_FOLLOW: dict[Request, Callable[[TaskRunner], None]] = {
    Request.SLOWER: lambda runner: _set_tempo(runner, -TEMPO_MARKS),
    Request.FASTER: lambda runner: _set_tempo(runner, TEMPO_MARKS),
    Request.SMALLER: _play_smaller,
    Request.LARGER: _play_larger,
    Request.OTHER_HAND: _play_other_hand,
    Request.AGAIN: _play_again,
    Request.NEXT: _go_on,
    Request.NOT_THIS: _leave_trouble_alone,
    Request.HARD: _say_it_is_hard,
    Request.STAY: _stay,
    Request.FINGERING: _count_anew,
}
