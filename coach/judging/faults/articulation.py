"""Faults of touch: keys let go too early, slurs broken, staccato held on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from coach.judging.articulation import Hold
from coach.judging.faults.catalogue import weigh
from coach.judging.faults.context import FaultContext, FaultSpan, make_fault
from coach.judging.model import Cause, Fault
from coach.judging.wording import describe
from coach.score.window import Excerpt

_ONE_LAPSE_BEATS = 1
"""Keys of one hand let go early within this of each other are one lapse (own choice)."""


def find_touch_faults(context: FaultContext) -> Iterator[Fault]:
    """What of the articulation is not as written, in no order."""
    excerpt, shape = context.excerpt, context.shape
    for run in _split_lapses(excerpt, shape.let_go):
        yield _make_early_release(excerpt, run)
    for hold in shape.gaps:
        yield _make_touch_fault(excerpt, Cause.BROKEN_SLUR, hold)
    for hold in shape.held_on:
        yield _make_touch_fault(excerpt, Cause.HELD_ON, hold)


def _split_lapses(excerpt: Excerpt, holds: tuple[Hold, ...]) -> list[list[Hold]]:
    """Neighbours in one hand within a beat of each other: one lapse, one fault."""
    out: list[list[Hold]] = []
    for hold in holds:
        beat = excerpt.onset_beats[hold.note]
        last = out[-1][-1] if out else None
        near = last and beat - excerpt.onset_beats[last.note] <= _ONE_LAPSE_BEATS
        if last and near and last.hand is hold.hand:
            out[-1].append(hold)
        else:
            out.append([hold])
    return out


def _make_early_release(excerpt: Excerpt, run: list[Hold]) -> Fault:
    """It spoils the way onward: the transition away from the first such note, not into it."""
    surprise = max(hold.surprise for hold in run)
    fault = _make_touch_fault(excerpt, Cause.EARLY_RELEASE, run[0], surprise)
    first = int(excerpt.onset_beats[run[0].note] // 1)
    return replace(fault, from_beat=first, to_beat=first + 1)


def _make_touch_fault(excerpt: Excerpt, cause: Cause, hold: Hold, surprise: float = 0.0) -> Fault:
    return make_fault(
        excerpt,
        cause,
        FaultSpan.at(excerpt.notes[hold.note].onset_quarters, hold.hand),
        describe(cause),
        weight=weigh(cause, surprise=surprise),
        note=hold.note,
        size_ms=(hold.held_s - hold.written_s) * 1000,
    )
