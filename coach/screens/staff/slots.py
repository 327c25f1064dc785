"""What stands at one onset, and how it is told from what else stands there."""

from __future__ import annotations

from enum import IntEnum
from fractions import Fraction


class SlotKind(IntEnum):
    """What stands in a slot, in the order in which slots of one onset follow each other."""

    BAR = 0
    CLEF = 1
    GRACE = 2
    NOTE = 3
    """Heads, rests, or only a beat that is counted."""
    AFTER = 4
    """Small notes that are played after their main note."""


SlotKey = tuple[Fraction, SlotKind, int]
"""Onset, kind and order: what tells one slot from another."""
