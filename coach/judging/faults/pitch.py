"""Wrong keys: single ones, octave slips, and a hand that lies in a wrong position.

A hand in a wrong position strikes one wrong key after another, all off to the same side. To tell
each of them would hide the one thing to be done, so a run of them is one fault.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from coach.judging.faults.context import FaultContext, FaultSpan, make_fault
from coach.judging.model import Cause, Fault, Label, ScoreLabel
from coach.judging.wording import (
    describe,
    describe_octaves,
    describe_shift,
    describe_wrong_key,
)
from coach.score.model import Hand, Hands

_OCTAVE = 12
"""Semitones."""
_MOST_SHIFTED = 4
"""Semitones. A hand that lies wrong is off by a few keys, no more than a major third (own choice:
beyond it a hand of five fingers has left its position)."""


def find_wrong_keys(context: FaultContext) -> list[Fault]:
    """Wrong keys; a hand displaced for several onsets running is one fault."""
    out = []
    for hand in Hand:
        for run in _split_runs(context, hand):
            out += _judge_run(context, run, Hands(hand))
    return out


def _split_runs(context: FaultContext, hand: Hand) -> list[list[ScoreLabel]]:
    """Wrong labels of one hand, apart where a right note of the hand came between."""
    excerpt = context.excerpt
    wrong: dict[int, list[ScoreLabel]] = {}
    right: set[int] = set()
    for label, number in zip(context.matching.score, excerpt.onset_numbers, strict=True):
        if excerpt.notes[label.note].hand is hand and label.note not in excerpt.same_key:
            if label.label is Label.WRONG:
                wrong.setdefault(number, []).append(label)
            elif label.label is Label.MATCHED:
                right.add(number)
    if not wrong:
        return []
    runs: list[list[ScoreLabel]] = [[]]
    for number in sorted(wrong.keys() | right):
        if number in right and runs[-1]:
            runs.append([])
        runs[-1] += wrong.get(number, [])
    return [run for run in runs if run]


def _judge_run(context: FaultContext, run: list[ScoreLabel], hands: Hands) -> list[Fault]:
    """A run as one fault where the hand was displaced, else each key as a fault of its own."""
    semitones = [_semitones_off(context, label) for label in run]
    first = semitones[0]
    onsets = {context.note_of(label).onset_quarters for label in run}
    same_side = max(semitones) < 0 or min(semitones) > 0
    if len(set(semitones)) == 1 and first and first % _OCTAVE == 0:
        cause = Cause.OCTAVE_SLIP
        single = len(run) == 1
        words = _describe_key(context, run[0]) if single else describe_octaves(first)
    elif len(onsets) > 1 and same_side and max(map(abs, semitones)) <= _MOST_SHIFTED:
        cause = Cause.SHIFTED_POSITION
        words = describe_shift(semitones)
    else:
        return [_make_wrong_key(context, label, hands) for label in run]
    span = FaultSpan(min(onsets), max(onsets), hands)
    return [make_fault(context.excerpt, cause, span, words, note=run[0].note)]


def _make_wrong_key(context: FaultContext, label: ScoreLabel, hands: Hands) -> Fault:
    span = FaultSpan.at(context.note_of(label).onset_quarters, hands)
    words = _describe_key(context, label)
    return make_fault(context.excerpt, Cause.WRONG_KEY, span, words, note=label.note)


def _describe_key(context: FaultContext, label: ScoreLabel) -> str:
    written = context.note_of(label)
    struck_pitch = written.pitch + _semitones_off(context, label)
    return describe_wrong_key(struck_pitch, written, context.excerpt)


def _semitones_off(context: FaultContext, label: ScoreLabel) -> int:
    """How far the struck key lies above the written one; 0 where none was struck."""
    if label.played is None:
        return 0
    return context.played[label.played].pitch - context.note_of(label).pitch


# Notes of one hand struck in the wrong order: E before D.


_REVERSED_S = 0.03
"""Two strokes less than this apart are one to the ear: order is told at threshold from 20 ms on
(Hirsh 1959, from memory)."""


def find_wrong_order(context: FaultContext) -> Iterator[Fault]:
    """Each note that came before the one written before it in the same hand.

    Rolled chords, ornaments and grace notes have no order to be held to, and hands that cross in
    time have one each. What was broken into is told as that.
    """
    for hand in Hand:
        for first, second in pairwise(_strokes(context, hand)):
            (_, note, at_s, number), (i, after, after_s, after_number) = first, second
            moment = context.timing.row[i]
            if at_s - after_s <= _REVERSED_S or moment.broken or moment.torn:
                continue
            if after_number - number > 1 and moment.gap:
                continue
            written, early = context.excerpt.notes[note], context.excerpt.notes[after]
            yield make_fault(
                context.excerpt,
                Cause.WRONG_ORDER,
                FaultSpan.at(written.onset_quarters, hand),
                describe(Cause.WRONG_ORDER, key=early.spelling.words, note=written.spelling.words),
                note=note,
                size_ms=(after_s - at_s) * 1000,
            )


def _strokes(context: FaultContext, hand: Hand) -> Iterator[tuple[int, int, float, int]]:
    """Moment, first note, time and onset number of each of a hand's onsets that has an order."""
    for i, moment in enumerate(context.timing.row):
        onset = moment.of(hand)
        if onset is not None and not onset.loose:
            yield i, onset.notes[0], onset.at_s, moment.number
