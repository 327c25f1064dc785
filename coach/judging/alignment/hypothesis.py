"""A hypothesis of the beam search: where both hands are in the score after the keys so far.

In terms of a hidden Markov model: the hidden state is where each hand is and how fast it plays, a
struck key is an observation, and back-pointers hold the path that led here.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import NamedTuple

NEVER = float("-inf")
"""A time before all others: it has not happened."""


class StepKind(IntEnum):
    """What a step of a hypothesis says of a key."""

    MATCH = 0
    WRONG = 1
    EXTRA = 2
    JUMP = 3
    """No key: back to the onset whose first note is the step's note."""
    FREE = 4
    """One more key of an ornament that is played freely."""


@dataclass(frozen=True, slots=True)
class StruckKey:
    """A key struck, in the decoder's own time, in which the take's tempo is always the same."""

    number: int
    """Which key of the take."""
    pitch: int
    at_s: float
    is_soft: bool
    """Soft and short: perhaps only brushed."""


class BackPointer(NamedTuple):
    """One step of a hypothesis, and the step before it."""

    previous: BackPointer | None
    key: int
    """Index of the key in the take."""
    kind: StepKind
    note: int
    """Index of the note; -1: none."""


@dataclass(slots=True, eq=False)
class Hypothesis:
    """Where the hands are, by their own clocks; never changed once made."""

    cost: float
    done: int
    """Bit i is set where note i has been played since the last jump back."""
    right: int
    """Furthest onset that the right hand has reached."""
    left: int
    right_s: float
    """When the right hand reached it; never: it has not played."""
    left_s: float
    right_beat: float
    left_beat: float
    period_s: float
    """Seconds in a beat."""
    right_off: int
    """How many semitones off the right hand's last key was; 0: right."""
    left_off: int
    extra_pitch: int
    """Pitch of the last key too many, and when it went down."""
    extra_s: float
    last_s: float
    """When the last key that was not too many went down."""
    step: BackPointer | None
    gap: int = 0
    """The last skip: from this onset up to that one, which was played, all was left out."""
    gap_end: int = 0

    @property
    def front(self) -> int:
        """Furthest onset that either hand has reached."""
        return max(self.right, self.left)


def initial(period_s: float) -> Hypothesis:
    """Nothing played yet."""
    return Hypothesis(
        0.0, 0, 0, 0, NEVER, NEVER, 0.0, 0.0, period_s, 0, 0, 0, NEVER, NEVER, None
    )  # fmt: skip


def collect_steps(hypothesis: Hypothesis) -> list[BackPointer]:
    """All steps of a hypothesis, the last one first."""
    steps = []
    step = hypothesis.step
    while step is not None:
        steps.append(step)
        step = step.previous
    return steps
