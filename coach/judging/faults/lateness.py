"""A fault of one onset that came late or early, in full words and in short ones."""

from __future__ import annotations

from coach.judging.faults.catalogue import weigh
from coach.judging.faults.context import FaultContext, FaultSpan, hands_of, make_fault
from coach.judging.model import Cause, Fault
from coach.judging.wording import beat_around, describe_lateness, place
from coach.score.model import Hands


def make_lateness(
    context: FaultContext,
    cause: Cause,
    moment: int,
    error_s: float,
    *,
    explained: bool,
    hands: Hands | None = None,
) -> Fault:
    """``late to beat 2 (0.4 s)``; ``hands`` None are those that have an onset there."""
    excerpt, row = context.excerpt, context.timing.row[moment]
    onset = row.onset_quarters
    whose = hands_of([hand.hand for hand in row.hands]) if hands is None else hands
    around = beat_around(excerpt, onset)
    return make_fault(
        excerpt,
        cause,
        FaultSpan.at(onset, whose),
        describe_lateness(cause, f"to {place(excerpt, onset)}", error_s),
        weight=weigh(cause, size_s=error_s, explained=explained),
        size_ms=error_s * 1000,
        short_words=(describe_lateness(cause, f"in {around}", error_s),),
    )
