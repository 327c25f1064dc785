"""Far ledger lines folded away: groups of notes written an octave nearer, under an octave line."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from fractions import Fraction

from coach.screens.staff.written import Head

_FAR_ABOVE, _FAR_BELOW = 12, -4
"""Positions beyond the second ledger line."""


def folded(all_heads: tuple[Head, ...]) -> tuple[Head, ...]:
    """The same heads, with those on far ledger lines written an octave nearer.

    All heads of a staff at one onset move together, so that the octave line over them is true of
    each; not where that would push others off the other side, nor across a tie.
    """
    groups: dict[tuple[Fraction, int], list[Head]] = defaultdict(list)
    for head in all_heads:
        groups[head.onset_quarters, head.staff].append(head)
    octaves = {key: _nearer(group) for key, group in groups.items()}
    return tuple(_moved(head, octaves[head.onset_quarters, head.staff]) for head in all_heads)


def _nearer(group: list[Head]) -> int:
    """By how many octaves to move a group: 0, or 1 towards its staff."""
    low = min(head.position for head in group)
    high = max(head.position for head in group)
    if any(head.tied_on or not head.first for head in group):
        return 0
    if high > _FAR_ABOVE and low - 7 >= _FAR_BELOW:
        return -1
    return 1 if low < _FAR_BELOW and high + 7 <= _FAR_ABOVE else 0


def _moved(head: Head, octaves: int) -> Head:
    if not octaves:
        return head
    return replace(
        head,
        step=head.step + 7 * octaves,
        position=head.position + 7 * octaves,
        octave_shift=head.octave_shift + octaves,
    )
