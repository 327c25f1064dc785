"""Notices: worth knowing, no faults."""

from __future__ import annotations

from collections.abc import Iterator

from coach.judging.articulation import Shape
from coach.judging.timing import Timing
from coach.judging.tolerance import Tolerance
from coach.judging.wording import place, seconds
from coach.score.window import Excerpt

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
