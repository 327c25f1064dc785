"""Which hand struck a key that the score does not ask for: its nearest neighbour's."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf

from coach.judging.alignment.score_arrays import HANDS, ScoreArrays
from coach.judging.model import Label
from coach.playing.notes import PlayedNote
from coach.score.model import Hand

NEIGHBOURS = 6
"""Keys on each side that tell where the hands were. Own choice, because a hand moves on soon."""
SEMITONES_ACROSS = 18.0
"""How far in pitch a key may be that is as far away in time as these keys reach: at any tempo. Own
choice, because hands lie some octave and a half apart."""


LEAST_S = 1e-9
"""Only so that nothing is divided by zero."""


def likely_hand(
    score: ScoreArrays, labels: Sequence[tuple[Label, int]], take: Sequence[PlayedNote], at: int
) -> Hand | None:
    """The hand of the nearest key in pitch and time whose hand is known.

    Where the window is for one hand, that hand; None where nothing was played for the score.
    """
    if score.only_hand is not None:
        return HANDS[score.only_hand]
    note = take[at]
    best, found = inf, None
    first, end = max(at - NEIGHBOURS, 0), min(at + NEIGHBOURS + 1, len(labels))
    across_s = max(take[end - 1].onset_s - take[first].onset_s, LEAST_S)
    for near in range(first, end):
        target = labels[near][1]
        if target >= 0:
            away = abs(take[near].onset_s - note.onset_s) / across_s * SEMITONES_ACROSS
            away += abs(take[near].pitch - note.pitch)
            if away < best:
                best, found = away, score.hand[target]
    return None if found is None else HANDS[found]
