"""Planted mistakes of timing: every key is right, its time or its length is not."""

from __future__ import annotations

import math

from scripts.earcases.planting import Attempt, run_of


def hesitation(take: Attempt) -> bool:
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
    shared = sorted(set(take.onsets("RH")) & set(take.onsets("LH")))
    if not shared:
        return False
    beat, hand = take.rng.choice(shared), take.rng.choice(("RH", "LH"))
    late = take.rng.uniform(0.15, 0.3)
    for note in take.played:
        if note.beat == beat and note.hand == hand:
            note.onset_s += late
    take.note("one_hand_late", hand, beat, late_sec=late)
    return True


def hands_drift(take: Attempt) -> bool:
    hand = take.rng.choice(("RH", "LH"))
    onsets, other = take.onsets(hand), take.onsets("LH" if hand == "RH" else "RH")
    if len(onsets) < 3 or not other:
        return False
    drift = take.rng.choice((-1, 1)) * take.rng.uniform(0.15, 0.35)
    first, last = onsets[0], onsets[-1]
    for note in take.played:
        if note.hand == hand:
            note.onset_s += drift * (note.beat - first) / (last - first)
    take.note("hands_drift", hand, last, drift_sec=drift, from_beat=math.ceil(first))
    return True


def uneven(take: Attempt) -> bool:
    run = run_of(take, 4, 8)
    if run is None:
        return False
    hand, onsets = run
    ratio = take.rng.uniform(1.6, 2.2)
    mine = {b: [n for n in take.played if n.beat == b and n.hand == hand] for b in onsets}
    starts = {b: min(n.onset_s for n in notes) for b, notes in mine.items()}
    for before, beat, after in zip(onsets[::2], onsets[1::2], onsets[2::2], strict=False):
        whole = starts[after] - starts[before]
        move = starts[before] + whole * ratio / (1 + ratio) - starts[beat]
        for note in mine[beat]:
            note.onset_s += move
    take.note("uneven", hand, onsets[0], ratio=ratio, onsets=len(onsets),
              to_beat=math.ceil(onsets[-1]))  # fmt: skip
    return True


def tempo_drift(take: Attempt) -> bool:
    onsets = take.onsets()
    if len(onsets) < 4:
        return False
    final = take.rng.choice((take.rng.uniform(1.35, 1.6), take.rng.uniform(0.6, 0.75)))
    start = min(n.onset_s for n in take.played)
    whole = max(n.onset_s for n in take.played) - start
    for note in take.played:
        x = (note.onset_s - start) / max(whole, 1e-6)
        note.onset_s = start + whole * (math.log1p((final - 1) * x) / (final - 1))
    take.note("tempo_drift", "both", onsets[-1], final_speed=final, from_beat=0)
    return True


def early_release(take: Attempt) -> bool:
    run = run_of(take, 1, 3)
    if run is None:
        return False
    hand, onsets = run
    for note in take.played:
        if note.hand == hand and note.beat in onsets:
            note.length_s = max(note.length_s * 0.15, 0.03)
    start = math.floor(onsets[0])
    take.note("early_release", hand, onsets[0], notes=len(onsets), from_beat=start,
              to_beat=start + 1)  # fmt: skip
    return True
