"""Missed notes: one of a chord, a whole onset, a stretch left out, a beat that was skipped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby

from coach.judging.faults.context import FaultContext, FaultSpan, hands_of, make_fault
from coach.judging.model import Cause, Fault, Label
from coach.judging.timing import Timing
from coach.judging.wording import describe, describe_skip
from coach.score.window import Excerpt

_CLOSED_UP = 0.75
"""Time closed up over missed notes: the next came sooner than this share of its time. Own choice,
half-way (by eye) between in time and at half of it."""
_LEAST_STRETCH = 3
"""Onsets left out in a row that are told as one stretch: own choice, since a sentence of twelve
words holds two missed notes and no third."""
_SAME_BEAT = 1e-9
"""Beats that differ by less are the same: rounding of a float."""


def find_missed_notes(context: FaultContext) -> list[Fault]:
    """Missed notes that were passed over; what lies after a breaking off is not asked for."""
    excerpt = context.excerpt
    missed, struck = _count_by_onset(context)
    out: list[Fault] = []
    for run in _split_runs([number for number in sorted(missed) if number not in struck]):
        whole = _make_one_of_run(context, run, [missed[number] for number in run])
        if whole is not None:
            out.append(whole)
            for number in run:
                del missed[number]
    for notes in missed.values():
        out += [_make_missed_note(excerpt, note, notes) for note in notes]
    return out


def _count_by_onset(context: FaultContext) -> tuple[dict[int, list[int]], set[int]]:
    """The missed notes of each onset number, and the numbers that something was struck for."""
    missed: dict[int, list[int]] = {}
    struck: set[int] = set()
    excerpt = context.excerpt
    for label, number in zip(context.matching.score, excerpt.onset_numbers, strict=True):
        if label.note in excerpt.same_key:
            continue
        if label.label is not Label.MISSED:
            struck.add(number)
        elif label.reached:
            missed.setdefault(number, []).append(label.note)
    return missed, struck


def _split_runs(numbers: Sequence[int]) -> list[list[int]]:
    """Consecutive numbers together."""
    groups = groupby(enumerate(numbers), key=lambda pair: pair[1] - pair[0])
    return [[number for _, number in group] for _, group in groups]


def _make_one_of_run(
    context: FaultContext, run: list[int], notes: Sequence[Sequence[int]]
) -> Fault | None:
    """A run of silent onsets as a skipped beat or a stretch; None: note by note."""
    excerpt = context.excerpt
    if _is_skip(excerpt, run, context.timing):
        return _make_skip(excerpt, run)
    if len(run) < _LEAST_STRETCH:
        return None
    flat = [note for onset in notes for note in onset]
    first, last = (excerpt.onsets_quarters[n] for n in (run[0], run[-1]))
    span = FaultSpan(first, last, hands_of([excerpt.notes[note].hand for note in flat]))
    words = describe(Cause.STRETCH_LEFT_OUT, count=str(len(flat)))
    return make_fault(excerpt, Cause.STRETCH_LEFT_OUT, span, words, note=flat[0])


def _is_skip(excerpt: Excerpt, run: list[int], timing: Timing) -> bool:
    """All of a beat or more is silent, and the time closed up over it."""
    onsets = excerpt.onsets_quarters
    after = run[-1] + 1
    if after >= len(onsets):
        return False
    beat = excerpt.beat_of(onsets[run[0]]) // 1
    if excerpt.beat_of(onsets[after]) < beat + 1 - _SAME_BEAT:
        return False
    if run[0] > 0 and excerpt.beat_of(onsets[run[0] - 1]) >= beat:
        return False
    i = timing.at.get(after)
    if i is None:
        return False
    step = timing.steps[i]
    return step.seconds < _CLOSED_UP * step.expected_s


def _make_skip(excerpt: Excerpt, run: list[int]) -> Fault:
    """It spans from the beat before what was skipped to the beat after it."""
    onsets = excerpt.onsets_quarters
    first, last = (int(excerpt.beat_of(onsets[n]) // 1) for n in (run[0], run[-1]))
    count = last - first + 1
    # A beat before the window's first onset has no name of its own: the onset's beat has.
    words = describe_skip(excerpt, onsets[run[0]], count)
    span = FaultSpan(onsets[run[0]], onsets[run[-1]], excerpt.hands)
    fault = make_fault(excerpt, Cause.SKIPPED_BEAT, span, words)
    return replace(fault, from_beat=first - 1, to_beat=last + 1)


def _make_missed_note(excerpt: Excerpt, note: int, missed: Sequence[int]) -> Fault:
    """``missed`` are all the missed notes of its onset."""
    written = excerpt.notes[note]
    number = excerpt.onset_numbers[note]
    before, after = (_count_same_hand(excerpt, note, number, step) for step in (-1, 1))
    chord = before + 1 + after
    gone = sum(excerpt.notes[other].hand is written.hand for other in missed)
    cause = Cause.MISSED_IN_CHORD if chord > gone else Cause.MISSED_NOTE
    span = FaultSpan.at(written.onset_quarters, written.hand)
    words = describe(cause, note=written.spelling.words)
    return make_fault(excerpt, cause, span, words, note=note)


def _count_same_hand(excerpt: Excerpt, note: int, number: int, step: int) -> int:
    """How many notes of the hand share the onset, on one side of a note in the list."""
    count, other = 0, note + step
    while 0 <= other < len(excerpt.notes) and excerpt.onset_numbers[other] == number:
        count += excerpt.notes[other].hand is excerpt.notes[note].hand
        other += step
    return count
