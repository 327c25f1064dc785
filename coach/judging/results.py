"""What follows from the faults: errors at each note, the outcome of each transition."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from coach.judging.facts import (
    Family,
    Fault,
    Matching,
    Outcome,
    ScoreLabel,
    TransitionResult,
)
from coach.judging.timing import Timing
from coach.playing.notes import PlayedNote
from coach.score.model import Hands
from coach.score.window import Excerpt, Transition

_OUTCOMES = {
    Family.PITCH: Outcome.WRONG,
    Family.MISSING: Outcome.WRONG,
    Family.EXTRA: Outcome.WRONG,
    Family.REPEAT: Outcome.REPEATED,
    Family.RELEASE: Outcome.UNEVEN,
}
_UNEVEN = frozenset({"uneven", "wrong proportions"})


def with_errors(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching, timing: Timing
) -> tuple[ScoreLabel, ...]:
    """The score's labels with each struck note's error in ms and in beats."""
    beat = float(excerpt.grid_quarters[1] - excerpt.grid_quarters[0])
    beat_s = beat * 60 / (timing.qpm or excerpt.qpm)
    out = []
    for label in matching.score:
        note = excerpt.notes[label.note]
        due = None if note.grace else timing.due_s(note.onset_quarters)
        if due is None or label.played is None:
            out.append(label)
            continue
        error_s = played[label.played].onset_s - due
        out.append(replace(label, error_ms=error_s * 1000, error_beats=error_s / beat_s))
    return tuple(out)


def transition_results(
    excerpt: Excerpt, matching: Matching, faults: Sequence[Fault]
) -> tuple[TransitionResult, ...]:
    """What happened in each transition of each hand: its heaviest fault that counts."""
    reached = {
        excerpt.transition_to(
            excerpt.notes[label.note].onset_quarters, Hands(excerpt.notes[label.note].hand)
        )
        for label in matching.score
        if label.reached
    }
    heaviest: dict[Transition, Fault] = {}
    for fault in faults:
        if not fault.forgiven and fault.family is not Family.TEMPO:
            for transition in _touched(excerpt, fault):
                heaviest.setdefault(transition, fault)
    return tuple(_result(t, t in reached, heaviest.get(t)) for t in excerpt.transitions)


def _touched(excerpt: Excerpt, fault: Fault) -> list[Transition]:
    """The single-hand transitions that a fault lies in, or spans."""
    members = fault.hands.members
    if fault.from_beat is None or fault.to_beat is None:
        return [replace(fault.transition, hands=Hands(hand)) for hand in members]
    grid = excerpt.grid_quarters
    out = []
    for k in range(fault.from_beat + 1, fault.to_beat + 1):
        to = grid[min(max(k, 0), len(grid) - 1)]
        out += [excerpt.transition_to(to, Hands(hand)) for hand in members]
    return out


def _result(transition: Transition, reached: bool, fault: Fault | None) -> TransitionResult:
    if fault is None:
        return TransitionResult(transition, Outcome.CLEAN if reached else Outcome.NOT_REACHED)
    return TransitionResult(transition, _outcome(fault), fault.size_ms, fault.note)


def _outcome(fault: Fault) -> Outcome:
    if fault.family in _OUTCOMES:
        return _OUTCOMES[fault.family]
    if fault.cause in _UNEVEN:
        return Outcome.UNEVEN
    return Outcome.LATE if (fault.size_ms or 0) > 0 else Outcome.EARLY
