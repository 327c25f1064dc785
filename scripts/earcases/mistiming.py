"""Planted mistakes of timing: every key is right, its time or its length is not."""

from __future__ import annotations

import math
from itertools import pairwise

from scripts.earcases.planting import Attempt, run_of
from scripts.earcases.rendering import Struck

_RUSHED = (1.35, 1.6)
_DRAGGED = (0.6, 0.75)
"""Tempo at the end against the start, where it runs away evenly."""
_TRIES = 8
"""How often a stretch is drawn until one is written even."""


def hesitation(take: Attempt) -> bool:
    """All waits before one onset; whatever follows is late with it."""
    onsets = take.onsets()
    if len(onsets) < 2:
        return False
    beat = take.rng.choice(onsets[1:])
    hands = {n.hand for n in take.played if n.beat == beat}
    pause = take.rng.uniform(0.35, 0.85)
    take.shift_from(beat, pause)
    take.note("hesitation", "both" if len(hands) > 1 else hands.pop(), beat, pause_sec=pause)
    return True


def one_hand_late(take: Attempt) -> bool:
    """One hand comes late to an onset that both share, but before its own next one."""
    late = take.rng.uniform(0.15, 0.3)
    shared = sorted(set(take.onsets("RH")) & set(take.onsets("LH")))
    able = [(b, hand) for b in shared for hand in ("RH", "LH") if _room_s(take, hand, b) > late]
    if not able:
        return False
    beat, hand = take.rng.choice(able)
    for note in take.played:
        if note.beat == beat and note.hand == hand:
            note.onset_s += late
    take.note("one_hand_late", hand, beat, late_sec=late)
    return True


def _room_s(take: Attempt, hand: str, beat: float) -> float:
    """Seconds from a hand's onset to its next one; without end after its last."""
    mine = [n for n in take.played if n.hand == hand and n.score is not None]
    last = max(n.onset_s for n in mine if n.beat == beat)
    return min((n.onset_s - last for n in mine if n.beat > beat), default=math.inf)


def hands_drift(take: Attempt) -> bool:
    """From some place early in the window on, one hand runs ahead or falls behind evenly."""
    hand = take.rng.choice(("RH", "LH"))
    onsets, other = take.onsets(hand), take.onsets("LH" if hand == "RH" else "RH")
    if len(onsets) < 3 or not other:
        return False
    drift = take.rng.choice((-1, 1)) * take.rng.uniform(0.15, 0.35)
    last = onsets[-1]
    start = onsets[0] + (last - onsets[0]) * take.rng.uniform(0.05, 0.25)
    for note in take.played:
        if note.hand == hand and note.beat > start:
            note.onset_s += drift * (note.beat - start) / (last - start)
    first = min(beat for beat in onsets if beat > start)
    take.note("hands_drift", hand, last, drift_sec=drift, from_beat=math.ceil(first) - 1)
    return True


def uneven(take: Attempt) -> bool:
    """A row that is written even is played long and short by turns."""
    run = next((run for _ in range(_TRIES) if _is_even(run := run_of(take, 4, 8))), None)
    if run is None:
        return False
    hand, onsets = run
    ratio = take.rng.uniform(1.6, 2.2)
    mine = [[n for n in take.played if n.beat == b and n.hand == hand] for b in onsets]
    starts = [min(n.onset_s for n in notes) for notes in mine]
    for i in range(1, len(onsets), 2):
        around = starts[i - 1 : i + 2]
        gap = (around[-1] - around[0]) / (len(around) - 1)
        _later(mine[i], gap * (ratio - 1) / (ratio + 1))
    moved = onsets[1::2]
    take.note("uneven", hand, moved[0], ratio=ratio, onsets=len(onsets),
              to_beat=math.ceil(moved[-1]))  # fmt: skip
    return True


def _is_even(run: tuple[str, list[float]] | None) -> bool:
    if run is None:
        return False
    gaps = [b - a for a, b in pairwise(run[1])]
    return max(gaps) - min(gaps) < 1e-6


def _later(notes: list[Struck], seconds: float) -> None:
    for note in notes:
        note.onset_s += seconds


def tempo_drift(take: Attempt) -> bool:
    """The tempo runs away evenly from the first onset to the last, or sinks."""
    onsets = take.onsets()
    if len(onsets) < 4:
        return False
    final = take.rng.choice((take.rng.uniform(*_RUSHED), take.rng.uniform(*_DRAGGED)))
    start = min(n.onset_s for n in take.played)
    whole = max(n.onset_s for n in take.played) - start
    for note in take.played:
        x = (note.onset_s - start) / max(whole, 1e-6)
        note.onset_s = start + whole * (math.log1p((final - 1) * x) / (final - 1))
        note.length_s /= 1 + (final - 1) * x
    take.note("tempo_drift", "both", onsets[-1], final_speed=final, from_beat=0)
    return True


def early_release(take: Attempt) -> bool:
    """A few keys of one hand are let go at once; it spoils the way onward."""
    run = run_of(take, 1, 3)
    if run is None:
        return False
    hand, onsets = run
    factor = take.rng.uniform(0.1, 0.25)
    for note in take.played:
        if note.hand == hand and note.beat in onsets:
            note.length_s = max(note.length_s * factor, 0.04)
    start = math.floor(onsets[0])
    take.note("early_release", hand, onsets[0], notes=len(onsets), factor=factor,
              from_beat=start, to_beat=start + 1)  # fmt: skip
    return True
