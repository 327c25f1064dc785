"""Judging a repetition: from what was played to the verdict."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from coach.judging.facts import (
    Family,
    Fault,
    Judgement,
    Matching,
    Outcome,
    ScoreLabel,
    Stage,
    TransitionResult,
)
from coach.judging.faults import find_faults
from coach.judging.habits import Habits
from coach.judging.matching import match
from coach.judging.reach import is_complete, with_reach
from coach.judging.timing import Timing, measure
from coach.judging.tolerance import USUAL, Tolerance
from coach.judging.verdict import at_stage, fault_words, is_clean, sentence
from coach.playing.notes import PlayedNote
from coach.score.model import Hands
from coach.score.window import Excerpt, Transition

_OUTCOMES = {
    Family.PITCH: Outcome.WRONG,
    Family.MISSING: Outcome.WRONG,
    Family.EXTRA: Outcome.WRONG,
    Family.REPEAT: Outcome.REPEATED,
}


def judge(
    excerpt: Excerpt,
    played: Sequence[PlayedNote],
    *,
    stage: Stage = Stage.RHYTHM,
    qpm: float | None = None,
    click_s: float | None = None,
    tolerance: Tolerance = USUAL,
    habits: Habits | None = None,
) -> Judgement:
    """Judge one repetition of the excerpt for a stage.

    ``qpm`` is the tempo asked for, in quarters a minute; ``click_s`` the clock time of the
    window's first grid beat where a click ran; ``habits`` what earlier repetitions of this
    player showed at each onset.
    """
    matching = match(excerpt, played)
    return judge_matched(
        excerpt,
        played,
        matching,
        stage=stage,
        qpm=qpm,
        click_s=click_s,
        tolerance=tolerance,
        habits=habits,
    )


def judge_matched(
    excerpt: Excerpt,
    played: Sequence[PlayedNote],
    matching: Matching,
    *,
    stage: Stage = Stage.RHYTHM,
    qpm: float | None = None,
    click_s: float | None = None,
    tolerance: Tolerance = USUAL,
    habits: Habits | None = None,
) -> Judgement:
    """The same from a matching that is already there."""
    matching = with_reach(excerpt, matching)
    timing = measure(excerpt, played, matching, tolerance, habits)
    faults = at_stage(find_faults(excerpt, played, matching, timing), stage)
    complete = is_complete(excerpt, matching)
    clean = is_clean(faults, complete)
    return Judgement(
        excerpt,
        stage,
        _with_errors(excerpt, played, matching, timing),
        matching.played,
        timing.qpm,
        _transitions(excerpt, matching, faults),
        faults,
        clean,
        complete,
        matching.unsure,
        sentence(excerpt, faults, clean, complete),
        tuple(fault_words(excerpt, fault) for fault in faults),
    )


def _with_errors(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching, timing: Timing
) -> tuple[ScoreLabel, ...]:
    return tuple(
        _with_error(excerpt, played, label, timing) if label.played is not None else label
        for label in matching.score
    )


def _with_error(
    excerpt: Excerpt, played: Sequence[PlayedNote], label: ScoreLabel, timing: Timing
) -> ScoreLabel:
    note = excerpt.notes[label.note]
    due = timing.due_s(note.onset_quarters)
    if due is None or label.played is None or note.grace:
        return label
    error_s = played[label.played].onset_s - due
    beats = error_s * (timing.qpm or 0) / 60
    return replace(label, error_ms=error_s * 1000, error_beats=beats)


def _transitions(
    excerpt: Excerpt, matching: Matching, faults: Sequence[Fault]
) -> tuple[TransitionResult, ...]:
    reached = {
        excerpt.transition_to(
            excerpt.notes[label.note].onset_quarters, Hands(excerpt.notes[label.note].hand)
        )
        for label in matching.score
        if label.reached
    }
    return tuple(_result(t, t in reached, faults) for t in excerpt.transitions)


def _result(transition: Transition, reached: bool, faults: Sequence[Fault]) -> TransitionResult:
    for fault in faults:
        same_hand = fault.hands in (transition.hands, Hands.TOGETHER)
        if fault.forgiven or not same_hand:
            continue
        if fault.transition.to_quarters == transition.to_quarters:
            return TransitionResult(transition, _outcome(fault), fault.size_ms, fault.note)
    return TransitionResult(transition, Outcome.CLEAN if reached else Outcome.NOT_REACHED)


def _outcome(fault: Fault) -> Outcome:
    if fault.family in _OUTCOMES:
        return _OUTCOMES[fault.family]
    if fault.cause in ("uneven", "wrong proportions"):
        return Outcome.UNEVEN
    return Outcome.LATE if (fault.size_ms or 0) > 0 else Outcome.EARLY
