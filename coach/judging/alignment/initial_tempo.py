"""The initial tempo of a take, before its notes are matched: the middle of the largest cluster of
the tempi between neighbouring onsets (clustered inter-onset intervals: Dixon 2001, JNMR 30, 39-58).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from coach.judging.alignment.score_arrays import ScoreArrays
from coach.playing.notes import PlayedNote
from coach.score.window import Excerpt

SAME_TEMPO = 1.25
"""Tempi within this ratio are one. Own choice, because a learner's rhythm spreads so
far."""
Neighbours = dict[int, dict[tuple[int, float], int]]
"""For each pitch those that are written next in its hand, each with the beats between the two, and
how often that is written."""
TOO_FAST = 0.15
"""Less than this share of the take's mean seconds in a beat: two keys of one chord. Own choice,
because it is about a thirty-second note."""
FEW_GAPS = 8
"""With fewer tempi from keys that are surely right, every written pair is looked at. Own choice,
because that is two bars of quarters."""
SHORTEST_BEAT_S, LONGEST_BEAT_S = 0.05, 20.0
"""No tempo is taken to be beyond these. Own choice, because nobody counts such beats."""


def written_period(excerpt: Excerpt, qpm: float | None = None) -> float:
    """Seconds in a beat at a tempo, or at the piece's own."""
    grid = excerpt.grid
    return (grid[1] - grid[0]) * 60.0 / (qpm or excerpt.qpm)


def beat_period(
    score: ScoreArrays, take: Sequence[PlayedNote], usual_s: float, *, least_s: float = 0.0,
    apart_s: float = 0.0, known: bool = False, neighbours: Neighbours | None = None,
) -> float:  # fmt: skip
    """Seconds in a beat: as most neighbouring onsets that were surely played have it.

    Sure is a key struck as often as it is written: its plays are taken in order. Where there are
    too few of those (wrong keys, repetitions), every written pair of neighbours is taken with
    every play of it that is close together; where all are one key, its plays one after the other.
    Where nothing fits, ``usual_s``; where that is the tempo asked for (``known``), it goes before
    what one key alone seems to tell. ``least_s``: no beat is shorter; ``apart_s``: nor
    are two onsets nearer, where that is known. ``neighbours``: the
    score's, where they are at hand.
    """
    when: dict[int, list[float]] = {}
    for key in take:
        when.setdefault(key.pitch, []).append(key.onset_s)
    rates = _sure_rates(score, when)
    if len(rates) < FEW_GAPS:
        least_s = max(TOO_FAST * mean_period(score, take), least_s)
        rates += _pair_rates(neighbours or count_neighbours(score), when, least_s, apart_s)
    if not rates and not known:
        rates = _again_rates(score, when)
    if not rates:
        return usual_s
    return min(max(_find_densest(rates), SHORTEST_BEAT_S), LONGEST_BEAT_S)


def _find_densest(rates: list[float]) -> float:
    """The middle of the largest group of rates within a quarter of each other."""
    rates.sort()
    low = best = start = 0
    for high, rate in enumerate(rates):
        while rate > rates[low] * SAME_TEMPO:
            low += 1
        if high - low > best:
            best, start = high - low, low
    return rates[start + best // 2]


def _sure_rates(score: ScoreArrays, when: dict[int, list[float]]) -> list[float]:
    onset_s: dict[int, float] = {}
    for pitch, notes in score.of_pitch.items():
        times = when.get(pitch, ())
        if len(times) == len(notes):
            for note, time in zip(notes, times, strict=True):
                if not score.small[note]:
                    onset_s.setdefault(score.onset[note], time)
    rates = []
    for before, after in pairwise(sorted(onset_s)):
        gap = score.beat[after] - score.beat[before]
        if onset_s[after] > onset_s[before]:
            rates.append((onset_s[after] - onset_s[before]) / gap)
    return rates


def mean_period(score: ScoreArrays, take: Sequence[PlayedNote]) -> float:
    """Seconds in a beat, if all of the window was played once and evenly; 0: nothing to tell."""
    whole = score.beat[-1] - score.beat[0]
    return (take[-1].onset_s - take[0].onset_s) / whole if take and whole > 0 else 0.0


def count_neighbours(score: ScoreArrays) -> Neighbours:
    """The written pairs of neighbouring notes of one hand, and how often there is each."""
    found: Neighbours = {}
    before = [-1, -1]
    for note, pitch in enumerate(score.pitch):
        if score.small[note]:
            continue
        last, before[score.hand[note]] = before[score.hand[note]], note
        if last < 0 or score.pitch[last] == pitch:
            continue
        gap = score.beat[score.onset[note]] - score.beat[score.onset[last]]
        if gap > 0:
            pairs = found.setdefault(score.pitch[last], {})
            pairs[pitch, gap] = pairs.get((pitch, gap), 0) + 1
    return found


def _pair_rates(
    neighbours: Neighbours, when: dict[int, list[float]], least_s: float, apart_s: float
) -> list[float]:
    rates: list[float] = []
    for first, starts in when.items():
        for (second, gap), count in neighbours.get(first, {}).items():
            later = when.get(second)
            if later:
                near = _pair_plays(starts, later, max(least_s * gap, apart_s))
                rates += [(after - start) / gap for start, after in near] * count
    return rates


def _pair_plays(
    starts: Sequence[float], later: Sequence[float], nearest_s: float
) -> Iterator[tuple[float, float]]:
    """Plays of one key and the first of another after each, with none of the one between."""
    for at, start in enumerate(starts):
        after = next((time for time in later if time > start + nearest_s), None)
        if after is not None and not (at + 1 < len(starts) and starts[at + 1] + nearest_s < after):
            yield start, after


def _again_rates(score: ScoreArrays, when: dict[int, list[float]]) -> list[float]:
    """Rates of keys struck again, each from one note of its pitch to the next."""
    rates: list[float] = []
    for pitch, times in when.items():
        notes = score.of_pitch.get(pitch, ())
        for (note, after), (start, end) in zip(pairwise(notes), pairwise(times), strict=False):
            gap = score.beat[score.onset[after]] - score.beat[score.onset[note]]
            if gap > 0 and end > start:
                rates.append((end - start) / gap)
    return rates
