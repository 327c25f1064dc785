"""Practice-room mistakes in the making: the take that they are planted into, and its truth.

The mistakes themselves change the take in place and say whether the window offered a place for
them: of keys (``miskeying``), of time (``mistiming``), of playing that breaks off (``breaking``).
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from typing import Any

from scripts.earcases.rendering import Struck

FAMILY = {
    "wrong_key": "pitch", "position_shift": "pitch", "octave_slip": "pitch",
    "self_correct": "pitch", "missed_in_chord": "missing", "missed_note": "missing",
    "skipped_beat": "missing", "extra_brush": "extra", "hesitation": "timing",
    "one_hand_late": "timing", "hands_drift": "timing", "uneven": "timing",
    "tempo_drift": "tempo", "early_release": "release", "stumble_repeat": "repeat",
    "restart": "repeat", "slow_tempo": "tempo", "found_chord": "repeat", "slid_key": "extra",
}  # fmt: skip
"""Each cause and the family of fault that it belongs to."""

LAST = ("skipped_beat", "stumble_repeat", "restart")
"""Planted after the others: they cut or repeat what is there."""


@dataclass
class Attempt:
    """A take in the making."""

    played: list[Struck]
    rng: random.Random
    beats: float
    planted: list[dict[str, Any]] = field(default_factory=list)
    spoilt: set[int] = field(default_factory=set)
    """Score notes that a mistake has already touched."""

    def note(self, cause: str, hand: str, at: float | None, **params: Any) -> dict[str, Any]:
        """Write down what was planted; a mistake at b belongs to (k-1, k], k = ceil(b)."""
        to = math.ceil(at) if at is not None else math.ceil(self.beats)
        start = params.pop("from_beat", to - 1 if at is not None else 0)
        end = params.pop("to_beat", to)
        made = {
            "cause": cause, "family": FAMILY[cause], "hand": hand, "at_beat": at,
            "from_beat": start, "to_beat": end, "params": params, "index": len(self.planted),
        }  # fmt: skip
        self.planted.append(made)
        return made

    def whole(self) -> list[Struck]:
        """Notes still played as written."""
        return [n for n in self.played if n.label == "match" and n.score not in self.spoilt]

    def any_whole(self) -> Struck | None:
        """One of them at random."""
        able = self.whole()
        return self.rng.choice(able) if able else None

    def onsets(self, hand: str | None = None) -> list[float]:
        """Onsets in beats of what is played for the score, of one hand or all."""
        notes = (n for n in self.played if n.score is not None)
        return sorted({n.beat for n in notes if hand is None or n.hand == hand})

    def shift_from(self, beat: float, seconds: float, keep: Struck | None = None) -> None:
        """All that comes at or after a beat is later."""
        for note in self.played:
            if note.beat >= beat and note is not keep:
                note.onset_s += seconds


def run_of(take: Attempt, low: int, high: int) -> tuple[str, list[float]] | None:
    """A stretch of one hand's onsets that no mistake has touched."""
    hand = take.rng.choice(("RH", "LH"))
    free = take.whole()
    onsets = sorted({n.beat for n in free if n.hand == hand})
    whole = take.onsets(hand)
    size = take.rng.randint(low, high)
    starts = [i for i in range(len(whole) - size + 1) if set(whole[i : i + size]) <= set(onsets)]
    if not starts:
        return None
    start = take.rng.choice(starts)
    return hand, whole[start : start + size]
