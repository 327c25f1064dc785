"""A stop before an onset where this player stopped before: a hesitation there."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from coach.judging.completion import stopped_before
from coach.judging.faults.location import FaultSpan, hands_of, make_fault
from coach.judging.model import Cause, Fault, ScoreLabel
from coach.judging.wording import describe
from coach.score.window import Excerpt


def find_stop_again(
    excerpt: Excerpt, labels: Sequence[ScoreLabel], before: Sequence[Fraction | None]
) -> Fault | None:
    """A stop where the player stopped in one of the repetitions before: a hesitation there.

    One stop alone is a break, and tells nothing.
    """
    onset = stopped_before(excerpt, labels)
    if onset is None or onset not in before:
        return None
    hands = hands_of([note.hand for note in excerpt.notes if note.onset_quarters == onset])
    words = describe(Cause.STOPPED_AGAIN)
    return make_fault(excerpt, Cause.STOPPED_AGAIN, FaultSpan.at(onset, hands), words)
