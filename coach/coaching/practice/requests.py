"""The pianist's wishes: smaller, larger, slower, quicker, the other hand, on, not this.

The coach follows and does not argue; what changes nothing is answered by the words of
``as_far_as_it_goes``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from coach.coaching.model import Kind, Request
from coach.coaching.practice.repair import Case, rungs
from coach.coaching.practice.task import Run
from coach.coaching.practice.task_runner import Work
from coach.coaching.practice.tempo import marked
from coach.score.model import Hands
from coach.score.window import Window

TEMPO_MARKS = 2
"""Metronome marks that "slower" and "faster" go: enough to be felt at once."""
AS_ASKED = "As you asked."
_NEXT_HANDS = {
    Hands.TOGETHER: Hands.RIGHT,
    Hands.RIGHT: Hands.LEFT,
    Hands.LEFT: Hands.TOGETHER,
}


def follow(work: Work, request: Request) -> None:
    """Change what is asked for as the pianist wishes."""
    _FOLLOW[request](work)


def _set_tempo(work: Work, quicker_marks: int) -> None:
    climb = work.climb_now
    if climb.now is not None:
        beat = work.places.beat_quarters(work.assignment.window)
        climb.now = marked(climb.now, beat, quicker_marks)
        climb.before_trial = None
    work.run = Run()
    work.give(work.assignment.window, Kind.ASKED, AS_ASKED)


def _smaller(work: Work) -> None:
    """The largest rung that lies inside what is played now: never longer, never another hand."""
    now, case = work.assignment.window, work.case
    if case is None or not _inside(case, now):
        case = _case_in(work, now)
    inside = _inside(case, now)
    if inside:
        work.mending.case, work.finding.probe = case, None
        case.start = min(case.start, inside[-1])
        _turn(work, case, inside[-1], "Smaller, as you asked.")


def _larger(work: Work) -> None:
    """The smallest rung that what is played now lies inside; past the last, the whole."""
    now, case = work.assignment.window, work.case
    around = [i for i, w in enumerate(case.rungs) if w != now and w.contains(now)] if case else []
    if case is not None and around:
        _turn(work, case, around[0], "Larger, as you asked.")
    else:
        _leave(work)


def _turn(work: Work, case: Case, at: int, reason: str) -> None:
    work.asked, case.at, case.unclean = None, at, 0
    work.give(case.window, Kind.ASKED, reason)


def _inside(case: Case, now: Window) -> list[int]:
    """The case's rungs that are smaller than a window, smallest first."""
    return [i for i, w in enumerate(case.rungs) if w != now and now.contains(w)]


def _case_in(work: Work, now: Window) -> Case:
    """A case for what is being looked into, or for what failed most in a window."""
    probe = work.finding.probe
    move = probe.suspect.transition if probe else work.finding.worst(now)
    if not move.hands.members <= now.hands.members:
        move = replace(move, hands=now.hands)
    ladder, _ = rungs(work.places, move, work.task.window)
    top = len(ladder) - 1
    return Case(move, ladder, top, work.case_climb(), top)


def _other_hand(work: Work) -> None:
    window = work.assignment.window
    for hands in (_NEXT_HANDS[window.hands], _NEXT_HANDS[_NEXT_HANDS[window.hands]]):
        cut = work.places.clip(window.start_quarters, window.end_quarters, hands)
        if cut.hands is hands and cut != window:
            break
    work.give_instead(replace(work.assignment, window=cut, kind=Kind.ASKED, reason=AS_ASKED))


def _again(work: Work) -> None:
    work.run = Run()


def _leave(work: Work) -> None:
    """Away from the trouble in hand: back to the whole."""
    work.asked = work.mending.case = work.finding.probe = None
    work.give(work.task.window, Kind.ASKED, AS_ASKED)


def _leave_for_good(work: Work) -> None:
    probe, case = work.finding.probe, work.case
    at_hand = probe.suspect if probe else case
    if at_hand is not None:
        work.finding.left_alone.add(at_hand.transition.to_quarters)
    _leave(work)


_FOLLOW: dict[Request, Callable[[Work], None]] = {
    Request.SLOWER: lambda work: _set_tempo(work, -TEMPO_MARKS),
    Request.FASTER: lambda work: _set_tempo(work, TEMPO_MARKS),
    Request.SMALLER: _smaller,
    Request.LARGER: _larger,
    Request.OTHER_HAND: _other_hand,
    Request.AGAIN: _again,
    Request.NEXT: _leave,
    Request.NOT_THIS: _leave_for_good,
}
