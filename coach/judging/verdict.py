"""The verdict: clean or not at this stage, and the sentence that says why."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from coach.judging.articulation import Shape
from coach.judging.completion import before_the_break, entered_at, last_struck, stopped_before
from coach.judging.faults import beats_into, is_asked, outcome_of
from coach.judging.model import Cause, Fault, Matching, Outcome, ScoreLabel, Stage, TransitionResult
from coach.judging.timing import Evenness, Timing
from coach.judging.tolerance import EVENNESS_CV, Tolerance
from coach.judging.wording import (
    describe_in_at_most,
    describe_with_hand,
    describe_with_place,
    join_words,
    place,
    seconds,
)
from coach.playing.notes import PlayedNote
from coach.score.model import Hand
from coach.score.window import Excerpt, Transition

MOST_WORDS = 12
"""A longer sentence is not read in a glance."""


def forgive_unasked(faults: Sequence[Fault], stage: Stage) -> tuple[Fault, ...]:
    """The faults with those forgiven that the stage does not ask for, and these last."""
    marked = [
        fault if is_asked(fault.cause, stage) else replace(fault, forgiven=True) for fault in faults
    ]
    return tuple(sorted(marked, key=lambda fault: fault.forgiven))


def is_clean(faults: Sequence[Fault], complete: bool) -> bool:
    """Reached the end with nothing that the stage asks for amiss."""
    return complete and all(fault.forgiven for fault in faults)


def make_sentence(
    excerpt: Excerpt,
    faults: Sequence[Fault],
    matching: Matching,
    *,
    clean: bool,
) -> str:
    """At most twelve words, the most important thing first."""
    if clean:
        return "Clean"
    counted = [fault for fault in faults if not fault.forgiven]
    doubt = "unsure: " if matching.unsure and counted else ""
    most = MOST_WORDS - len(doubt.split())
    text = doubt + join_words(_list_parts(excerpt, counted, matching, most), most)
    return text[0].upper() + text[1:]


def _list_parts(
    excerpt: Excerpt, counted: Sequence[Fault], matching: Matching, most: int
) -> list[str]:
    """The first fault with its place (if that fits), where it began and stopped, the others."""
    before = before_the_break(excerpt, matching.score, counted)
    said = _say_faults(excerpt, before, most) if before else []
    part = [*_say_entry(excerpt, matching), *_say_break(excerpt, counted, matching)]
    if not said or not part:
        return [*said, *part]
    first, *others = said
    fits = len(" ".join([first, *part]).split()) <= most
    short = ["then stopped"] if stopped_before(excerpt, matching.score) is not None else []
    return [first, *(part if fits else short), *others]


def _say_entry(excerpt: Excerpt, matching: Matching) -> list[str]:
    """Where it began, if not at the window's beginning."""
    entered = entered_at(excerpt, matching.score)
    return [] if entered is None else [f"begun at {place(excerpt, entered)}"]


def _say_break(excerpt: Excerpt, counted: Sequence[Fault], matching: Matching) -> list[str]:
    """Where it broke off: before an onset, or in the middle of a chord."""
    labels, onsets = matching.score, excerpt.onsets_quarters
    stop, last = stopped_before(excerpt, labels), last_struck(excerpt, labels)
    if stop is None and last < len(onsets) - 1:
        return [f"stopped before {place(excerpt, onsets[-1])}"]
    if stop is None:
        return []
    again = " again" if any(fault.cause is Cause.STOPPED_AGAIN for fault in counted) else ""
    way = "at" if last >= 0 and stop == onsets[last] else "before"
    return [f"stopped {way} {place(excerpt, stop)}{again}"]


def _say_faults(excerpt: Excerpt, faults: Sequence[Fault], most: int) -> list[str]:
    """The first in the fullest words that fit."""
    first = describe_in_at_most(most, excerpt, faults[0])
    return [first] + [describe_with_hand(excerpt, fault) for fault in faults[1:]]


def list_details(excerpt: Excerpt, faults: Sequence[Fault], timing: Timing) -> tuple[str, ...]:
    """Every fault with its place, those that do not count marked; then how even the rows were."""
    said = [
        describe_with_place(excerpt, fault)
        + (" (does not count at this stage)" if fault.forgiven else "")
        for fault in faults
    ]
    return (*said, *map(_describe_evenness, timing.evenness))


def _describe_evenness(row: Evenness) -> str:
    words = f"{row.hand.value} evenness: {row.cv:.0%} (a professional's scale: {EVENNESS_CV:.0%})"
    if row.clock_ms is None or row.motor_ms is None:
        return words
    return f"{words}; pulse {row.clock_ms:.0f} ms, fingers {row.motor_ms:.0f} ms"


# What follows from the faults: errors at each note, the outcome of each transition.


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


# Notices: worth knowing, no faults.


_OFFSET_S = 0.030
"""A constant offset below this is a musician's usual one (Repp 2005, from memory)."""


def list_notices(
    excerpt: Excerpt, timing: Timing, shape: Shape, tolerance: Tolerance
) -> tuple[str, ...]:
    """Spread chords, a constant offset against the click, a left hand that covers the right."""
    return (
        *_spread_chords(excerpt, timing, tolerance),
        *_click_offset(timing),
        *_covered_right_hand(shape, tolerance),
    )


def _spread_chords(excerpt: Excerpt, timing: Timing, tolerance: Tolerance) -> Iterator[str]:
    split = {(one.moment, one.hand) for one in timing.splits}
    for i, moment in enumerate(timing.row):
        for hand in moment.hands:
            if hand.spread_ms >= tolerance.spread_ms and (i, hand.hand) not in split:
                where = place(excerpt, moment.onset_quarters)
                size = seconds(hand.spread_ms / 1000)
                yield f"{hand.hand.value} chord spread at {where} ({size})"


def _click_offset(timing: Timing) -> Iterator[str]:
    if timing.click is not None and abs(timing.click.offset_s) > _OFFSET_S:
        way = "behind" if timing.click.offset_s > 0 else "ahead of"
        yield f"Always {seconds(timing.click.offset_s)} {way} the click: not counted"


def _covered_right_hand(shape: Shape, tolerance: Tolerance) -> Iterator[str]:
    if shape.left_louder_by > tolerance.left_louder:
        yield "The left hand covers the right"
