"""Missed notes: one of a chord, a whole onset, a stretch left out, a beat that was skipped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby

from coach.judging.faults.location import hands_of, spanning
from coach.judging.model import Family, Fault, Label, Matching
from coach.judging.timing import Timing
from coach.score.model import Hands
from coach.score.window import Excerpt

_CLOSED_UP = 0.75
"""Time closed up over missed notes: the next came sooner than this share of its time."""
_STRETCH = 3
"""Onsets left out in a row that are told as one stretch."""


def missed_faults(excerpt: Excerpt, matching: Matching, timing: Timing) -> list[Fault]:
    """Missed notes that were passed over; what lies after a breaking off is not asked for."""
    missed: dict[int, list[int]] = {}
    struck: dict[int, int] = {}
    for label, number in zip(matching.score, excerpt.onset_numbers, strict=True):
        if label.note in excerpt.same_key:
            continue
        if label.label is not Label.MISSED:
            struck[number] = struck.get(number, 0) + 1
        elif label.reached:
            missed.setdefault(number, []).append(label.note)
    out: list[Fault] = []
    for run in _runs([number for number in sorted(missed) if number not in struck]):
        whole = _as_one(excerpt, run, [missed[number] for number in run], timing)
        if whole is not None:
            out.append(whole)
            for number in run:
                del missed[number]
    for notes in missed.values():
        out += [_missed(excerpt, note, notes) for note in notes]
    return out


def _runs(numbers: Sequence[int]) -> list[list[int]]:
    """Consecutive numbers together."""
    groups = groupby(enumerate(numbers), key=lambda pair: pair[1] - pair[0])
    return [[number for _, number in group] for _, group in groups]


def _as_one(
    excerpt: Excerpt, run: list[int], notes: list[list[int]], timing: Timing
) -> Fault | None:
    """A run of silent onsets as a skipped beat or a stretch; None: note by note."""
    if _is_skip(excerpt, run, timing):
        return _skip(excerpt, run)
    if len(run) < _STRETCH:
        return None
    flat = [note for onset in notes for note in onset]
    first, last = (excerpt.onsets_quarters[n] for n in (run[0], run[-1]))
    hands = hands_of([excerpt.notes[note].hand for note in flat])
    words, cause = f"{len(flat)} notes left out", "stretch left out"
    return spanning(excerpt, first, last, hands, Family.MISSING, 0.9, words, cause, note=flat[0])


def _is_skip(excerpt: Excerpt, run: list[int], timing: Timing) -> bool:
    """All of a beat or more is silent, and the time closed up over it."""
    onsets = excerpt.onsets_quarters
    after = run[-1] + 1
    if after >= len(onsets):
        return False
    beat = excerpt.beat_of(onsets[run[0]]) // 1
    if excerpt.beat_of(onsets[after]) < beat + 1 - 1e-9:
        return False
    if run[0] > 0 and excerpt.beat_of(onsets[run[0] - 1]) >= beat:
        return False
    i = timing.at.get(after)
    if i is None:
        return False
    step = timing.steps[i]
    return step.seconds < _CLOSED_UP * step.expected_s


def _skip(excerpt: Excerpt, run: list[int]) -> Fault:
    onsets = excerpt.onsets_quarters
    first, last = (int(excerpt.beat_of(onsets[n]) // 1) for n in (run[0], run[-1]))
    count = last - first + 1
    words = "skipped a beat" if count == 1 else f"skipped {count} beats"
    hands = excerpt.hands
    fault = spanning(
        excerpt, onsets[run[0]], onsets[run[-1]], hands, Family.MISSING, 0.95, words, "skipped beat"
    )
    return replace(fault, from_beat=first - 1, to_beat=last + 1)


def _missed(excerpt: Excerpt, note: int, missed: Sequence[int]) -> Fault:
    written = excerpt.notes[note]
    number = excerpt.onset_numbers[note]
    chord = _same_hand(excerpt, note, number, -1) + 1 + _same_hand(excerpt, note, number, 1)
    gone = sum(excerpt.notes[other].hand is written.hand for other in missed)
    onset = written.onset_quarters
    return spanning(
        excerpt,
        onset,
        onset,
        Hands(written.hand),
        Family.MISSING,
        0.86,
        f"{written.spelling.words} missed",
        "missed in chord" if chord > gone else "missed note",
        note=note,
    )


def _same_hand(excerpt: Excerpt, note: int, number: int, step: int) -> int:
    """How many notes of the hand share the onset, on one side of a note in the list."""
    count, other = 0, note + step
    while 0 <= other < len(excerpt.notes) and excerpt.onset_numbers[other] == number:
        count += excerpt.notes[other].hand is excerpt.notes[note].hand
        other += step
    return count
