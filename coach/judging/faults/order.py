"""Notes of one hand struck in the wrong order: E before D."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from coach.judging.faults.context import FaultContext
from coach.judging.faults.location import FaultSpan, make_fault
from coach.judging.model import Cause, Fault
from coach.judging.wording import describe
from coach.score.model import Hand

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
