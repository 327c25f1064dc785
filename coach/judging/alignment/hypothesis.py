"""A reading: one hypothesis about a take so far."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import NamedTuple

NEVER = float("-inf")


class Kind(IntEnum):
    """What a step of a reading says of a key."""

    MATCH = 0
    WRONG = 1
    EXTRA = 2
    JUMP = 3
    """No key: back to the onset whose first note is the step's note."""
    FREE = 4
    """One more key of an ornament that is played freely."""


class Key(NamedTuple):
    """A key struck, in the decoder's own time, in which the take's tempo is always the same."""

    pitch: int
    at: float
    soft: bool
    """Soft and short: perhaps only brushed."""


Step = tuple["Step | None", int, Kind, int]
"""The step before it, the key's index in the take, its kind, and the note (-1: none)."""


@dataclass(slots=True, eq=False)
class Reading:
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
    stray: int
    """Pitch of the last key too many, and when it went down."""
    stray_s: float
    last_s: float
    """When the last key that was not too many went down."""
    step: Step | None
    gap: int = 0
    """The last skip: from this onset up to that one, which was played, all was left out."""
    gap_end: int = 0

    @property
    def front(self) -> int:
        """Furthest onset that either hand has reached."""
        return max(self.right, self.left)


def opening(period_s: float) -> Reading:
    """Nothing played yet."""
    return Reading(
        0.0, 0, 0, 0, NEVER, NEVER, 0.0, 0.0, period_s, 0, 0, 0, NEVER, NEVER, None
    )  # fmt: skip


def steps(reading: Reading) -> list[Step]:
    """The reading's steps in order."""
    out = []
    step = reading.step
    while step is not None:
        out.append(step)
        step = step[0]
    out.reverse()
    return out
