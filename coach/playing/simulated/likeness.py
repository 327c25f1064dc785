"""Whether one row of chords could be taken for another: then no coach can tell what was meant."""

from __future__ import annotations

from collections.abc import Sequence

from coach.playing.simulated.hands import Chord


def likeness(one: Sequence[Chord], other: Sequence[Chord], shift: int = 0) -> float:
    """Share of the first row's chords that come, in order, in the second, 0 to 1.

    ``shift`` moves the first row by semitones. Chords are alike that share half of their keys.
    """
    if not one or not other:
        return 0.0
    rows = [frozenset(pitch + shift for pitch in chord.pitches) for chord in one]
    columns = [chord.pitches for chord in other]
    best = [0] * (len(columns) + 1)
    for row in rows:
        corner = 0
        for at, column in enumerate(columns, start=1):
            above = best[at]
            is_like = 2 * len(row & column) >= max(len(row), len(column))
            best[at] = corner + 1 if is_like else max(above, best[at - 1])
            corner = above
    return best[-1] / len(rows)
