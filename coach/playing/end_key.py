"""The key at the edge of the keyboard: with it a pianist asks to go on, and nothing else begins.

Every piano has a lowest key, the hand finds it without looking, and no slip strikes it.
"""

from __future__ import annotations

from collections.abc import Collection
from enum import StrEnum

LOWEST_C = 36
"""The lowest key of a keyboard of 61 keys; of larger ones it lies below (common practice)."""
HIGHEST_C = 96
"""The highest key of a keyboard of 61 keys; of larger ones it lies above."""
CLEAR_SEMITONES = 5
"""How far it has to be from what is played there, so that no slip strikes it. Our choice."""


class Edge(StrEnum):
    """Which end of the keyboard."""

    LOWEST = "lowest"
    HIGHEST = "highest"

    @classmethod
    def clear_of(cls, pitches: Collection[int]) -> Edge:
        """The end that is free of these keys: the highest only where they need the lowest."""
        needs_low = min(pitches) - CLEAR_SEMITONES < LOWEST_C
        needs_high = max(pitches) + CLEAR_SEMITONES > HIGHEST_C
        return cls.HIGHEST if needs_low and not needs_high else cls.LOWEST

    def is_struck(self, pitch: int, pitches: Collection[int]) -> bool:
        """Whether a key lies at this end of every keyboard, and outside what is played."""
        if self is Edge.LOWEST:
            return pitch <= LOWEST_C and pitch < min(pitches)
        return pitch >= HIGHEST_C and pitch > max(pitches)
