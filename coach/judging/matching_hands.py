"""Which hand struck a key that the score does not ask for."""

from __future__ import annotations

from collections.abc import Sequence

from coach.judging.facts import Label
from coach.judging.matching_score import HANDS, Layout
from coach.playing.notes import PlayedNote
from coach.score.model import Hand

NEIGHBOURS = 6
"""Keys on each side that tell where the hands were."""
SEMITONES_A_SECOND = 12.0
"""How far in pitch a key may be for each second that it is away in time."""


def likely_hand(
    layout: Layout, labels: Sequence[tuple[Label, int]], take: Sequence[PlayedNote], at: int
) -> Hand | None:
    """The hand of the nearest key in pitch and time whose hand is known.

    Where the window is for one hand, that hand; None where nothing was played for the score.
    """
    if layout.only_hand is not None:
        return HANDS[layout.only_hand]
    note = take[at]
    best, found = float("inf"), None
    for near in range(max(at - NEIGHBOURS, 0), min(at + NEIGHBOURS + 1, len(labels))):
        target = labels[near][1]
        if target >= 0:
            away = abs(take[near].onset_s - note.onset_s) * SEMITONES_A_SECOND
            away += abs(take[near].pitch - note.pitch)
            if away < best:
                best, found = away, layout.hand[target]
    return None if found is None else HANDS[found]
