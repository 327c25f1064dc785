"""What follows from the faults: errors at each note, the outcome of each transition."""

from __future__ import annotations

from collections.abc import Sequence

from coach.judging.faults import beats_into, outcome_of
from coach.judging.model import Fault, Matching, Outcome, ScoreLabel, TransitionResult
from coach.judging.timing import Timing
from coach.playing.notes import PlayedNote
from coach.score.model import Hand
from coach.score.window import Excerpt, Transition


def add_errors(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching, timing: Timing
) -> tuple[ScoreLabel, ...]:
    """The score's labels with each struck note's error in ms and in beats."""
    beat_quarters = float(excerpt.grid_quarters[1] - excerpt.grid_quarters[0])
    beat_s = beat_quarters * 60 / (timing.qpm or excerpt.qpm)
    out = []
    for label, number in zip(matching.score, excerpt.onset_numbers, strict=True):
        due = timing.due_s(number)
        if due is None or label.played is None or excerpt.notes[label.note].grace:
            out.append(label)
            continue
        error_s = played[label.played].onset_s - due
        out.append(
            ScoreLabel(
                label.note,
                label.label,
                label.played,
                error_s * 1000,
                error_s / beat_s,
                label.reached,
            )
        )
    return tuple(out)


def judge_transitions(
    excerpt: Excerpt, matching: Matching, faults: Sequence[Fault]
) -> tuple[TransitionResult, ...]:
    """What happened in each transition of each hand: its heaviest fault that counts."""
    reached = {
        (excerpt.arrivals[number], excerpt.notes[label.note].hand)
        for label, number in zip(matching.score, excerpt.onset_numbers, strict=True)
        if label.reached
    }
    heaviest: dict[tuple[int, Hand], tuple[Fault, Outcome]] = {}
    for fault in faults:
        outcome = None if fault.forgiven else outcome_of(fault)
        if outcome is not None:
            for move in _moves_in(excerpt, fault):
                heaviest.setdefault(move, (fault, outcome))
    return tuple(
        _make_result(transition, move in reached, heaviest.get(move))
        for transition, move in zip(excerpt.transitions, excerpt.moves, strict=True)
    )


def _moves_in(excerpt: Excerpt, fault: Fault) -> list[tuple[int, Hand]]:
    """The single hand's moves that a fault lies in, or spans."""
    _, arrival = beats_into(excerpt, fault.onset_quarters)
    low = arrival if fault.from_beat is None else fault.from_beat + 1
    high = arrival if fault.to_beat is None else fault.to_beat
    return [(k, hand) for k in range(low, high + 1) for hand in fault.hands.members]


def _make_result(
    transition: Transition, reached: bool, found: tuple[Fault, Outcome] | None
) -> TransitionResult:
    if found is None:
        return TransitionResult(transition, Outcome.CLEAN if reached else Outcome.NOT_REACHED)
    fault, outcome = found
    return TransitionResult(transition, outcome, fault.size_ms, fault.note)
