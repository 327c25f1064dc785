"""How hard a stretch is to play, from the page: how many onsets, and how far the hands move."""

from __future__ import annotations

from itertools import pairwise

from coach.coaching.diagnosis import fitts_bits
from coach.coaching.places import Places
from coach.score.model import Hands
from coach.score.window import Window


def difficulty(places: Places, window: Window) -> float:
    """Bits of aiming (Fitts) a quarter note, over the hands, and one bit more for each onset."""
    hands = [one for one in places.hands_in_use if one.members <= window.hands.members]
    bits = sum(_bits(places, window.of(one), one) for one in hands)
    return bits / max(float(window.end_quarters - window.start_quarters), 0.25)


def _bits(places: Places, window: Window, hands: Hands) -> float:
    notes = places.score.notes_between(window.start_quarters, window.end_quarters, hands)
    onsets = sorted({note.onset_quarters for note in notes})
    tops = [max(n.pitch for n in notes if n.onset_quarters == at) for at in onsets]
    return len(onsets) + sum(fitts_bits(after - before) for before, after in pairwise(tops))
