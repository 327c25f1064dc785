"""A first guess at the tempo of a take, before its notes are matched."""

from __future__ import annotations

from collections.abc import Sequence

from coach.judging.matching_score import Layout
from coach.playing.notes import PlayedNote
from coach.score.window import Excerpt


def beat_period(layout: Layout, take: Sequence[PlayedNote], excerpt: Excerpt) -> float:
    """Seconds in a beat: the median over pairs of neighbouring notes that were both played.

    A pair is a note and the next one of its hand; each play of the first is taken with the first
    play of the second after it. The median bears wrong keys, stops and repetitions. Where nothing
    of the score was played, the piece's own tempo.
    """
    when: dict[int, list[float]] = {}
    for key in take:
        when.setdefault(key.pitch, []).append(key.onset_s)
    rates: list[float] = []
    before: list[int] = [-1, -1]
    for note, pitch in enumerate(layout.pitch):
        hand = layout.hand[note]
        last = before[hand]
        if layout.small[note]:
            continue
        before[hand] = note
        if last < 0 or layout.pitch[last] == pitch:
            continue
        gap = layout.beat[layout.onset[note]] - layout.beat[layout.onset[last]]
        if gap <= 0:
            continue
        later = when.get(pitch, ())
        for start in when.get(layout.pitch[last], ()):
            after = next((t for t in later if t > start), None)
            if after is not None:
                rates.append((after - start) / gap)
    if not rates:
        beats = excerpt.grid_quarters[1] - excerpt.grid_quarters[0]
        return 60.0 / excerpt.qpm * float(beats)
    rates.sort()
    return max(rates[len(rates) // 2], 0.05)
