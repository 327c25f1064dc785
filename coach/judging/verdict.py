"""The verdict: clean or not at this stage, and the details of why."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import product

from coach.judging.articulation import Shape
from coach.judging.faults import beats_into, is_asked, outcome_of
from coach.judging.model import (
    Family,
    Fault,
    Matching,
    Outcome,
    ScoreLabel,
    Stage,
    TransitionResult,
)
from coach.judging.timing import Evenness, Timing
from coach.judging.tolerance import EVENNESS_CV, Tolerance
from coach.judging.wording import (
    CLICK_OFFSET,
    COVERED_HAND,
    EVENNESS,
    EVENNESS_PARTS,
    NOT_ASKED,
    SPREAD_CHORD,
    UNSURE_READING,
    describe_with_place,
    name_way,
    place,
    seconds,
)
from coach.playing.notes import PlayedNote
from coach.score.model import Hand
from coach.score.window import Excerpt, Transition


def forgive_unasked(faults: Sequence[Fault], stage: Stage) -> tuple[Fault, ...]:
    """The faults with those forgiven that the stage does not ask for, and these last."""
    marked = [
        fault if is_asked(fault.cause, stage) else replace(fault, forgiven=True) for fault in faults
    ]
    return tuple(sorted(marked, key=lambda fault: fault.forgiven))


def is_clean(faults: Sequence[Fault], complete: bool) -> bool:
    """Reached the end with nothing that the stage asks for amiss."""
    return complete and all(fault.forgiven for fault in faults)


def list_details(excerpt: Excerpt, faults: Sequence[Fault], timing: Timing) -> tuple[str, ...]:
    """Every fault with its place, those that do not count marked; then how even the rows were."""
    said = dict.fromkeys(
        describe_with_place(excerpt, fault) + (NOT_ASKED if fault.forgiven else "")
        for fault in faults
    )
    return (*said, *map(_describe_evenness, timing.evenness))


def _describe_evenness(row: Evenness) -> str:
    words = EVENNESS.format(hand=row.hand.value, cv=row.cv, professional=EVENNESS_CV)
    if row.clock_ms is None or row.motor_ms is None:
        return words
    return words + EVENNESS_PARTS.format(pulse_ms=row.clock_ms, fingers_ms=row.motor_ms)


# What follows from the faults: errors at each note, the outcome of each transition.


def add_errors(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching, timing: Timing
) -> tuple[ScoreLabel, ...]:
    """The score's labels with each struck note's error in ms and in beats."""
    beat_quarters = float(excerpt.beat_quarters)
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
    """What happened in each transition of each hand: its heaviest fault that counts.

    Where one hand's key was wrong, missed or corrected, the other only waited for it: what both
    then show of time is told of the first alone.
    """
    reached = {
        (excerpt.arrivals[number], excerpt.notes[label.note].hand)
        for label, number in zip(matching.score, excerpt.onset_numbers, strict=True)
        if label.reached
    }
    of_keys: dict[Fraction, set[Hand]] = defaultdict(set)
    for fault in faults:
        if fault.family in _OF_KEYS and not fault.forgiven:
            of_keys[fault.onset_quarters].update(fault.hands.members)
    heaviest: dict[tuple[int, Hand], tuple[Fault, Outcome]] = {}
    for fault in faults:
        outcome = None if fault.forgiven else outcome_of(fault)
        if outcome is not None:
            hands = _hands_to_blame(fault, of_keys.get(fault.onset_quarters))
            for move in product(_beats_in(excerpt, fault), hands):
                heaviest.setdefault(move, (fault, outcome))
    return tuple(
        _make_result(transition, move in reached, heaviest.get(move))
        for transition, move in zip(excerpt.transitions, excerpt.moves, strict=True)
    )


_OF_KEYS = (Family.PITCH, Family.MISSING)


def _hands_to_blame(fault: Fault, at_fault: Collection[Hand] | None) -> Collection[Hand]:
    """Whose a fault is, where the keys of these hands were at fault at the same onset."""
    if fault.family is not Family.TIMING or not at_fault:
        return fault.hands.members
    return [hand for hand in fault.hands.members if hand in at_fault] or fault.hands.members


def _beats_in(excerpt: Excerpt, fault: Fault) -> range:
    """The beats that are arrived at in what a fault lies in, or spans."""
    _, arrival = beats_into(excerpt, fault.onset_quarters)
    low = arrival if fault.from_beat is None else fault.from_beat + 1
    high = arrival if fault.to_beat is None else fault.to_beat
    return range(low, high + 1)


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
    excerpt: Excerpt, matching: Matching, timing: Timing, shape: Shape, tolerance: Tolerance
) -> tuple[str, ...]:
    """Doubt, spread chords, a constant offset against the click, a left hand over the right."""
    return (
        *_unsure_reading(matching),
        *_notice_spread_chords(excerpt, timing, tolerance),
        *_notice_click_offset(timing),
        *_notice_covered_hand(shape, tolerance),
    )


def _notice_spread_chords(excerpt: Excerpt, timing: Timing, tolerance: Tolerance) -> Iterator[str]:
    split = {(one.moment, one.hand) for one in timing.splits}
    for i, moment in enumerate(timing.row):
        for hand in moment.hands:
            if hand.spread_ms >= tolerance.spread_ms and (i, hand.hand) not in split:
                where = place(excerpt, moment.onset_quarters)
                size = seconds(hand.spread_ms / 1000)
                yield SPREAD_CHORD.format(hand=hand.hand.value, place=where, size=size)


def _unsure_reading(matching: Matching) -> Iterator[str]:
    if matching.unsure:
        yield UNSURE_READING


def _notice_click_offset(timing: Timing) -> Iterator[str]:
    if timing.click is not None and abs(timing.click.offset_s) > _OFFSET_S:
        way = name_way(timing.click.offset_s)
        yield CLICK_OFFSET.format(size=seconds(timing.click.offset_s), way=way)


def _notice_covered_hand(shape: Shape, tolerance: Tolerance) -> Iterator[str]:
    if shape.left_louder_by > tolerance.left_louder:
        yield COVERED_HAND
