"""Expressive playing of a window: a seeded model of what recordings of pianists show.

Figures: chord asynchrony with the melody some 30 ms ahead (Goebl 2001), evenness of 8 ms a gap
(Jabusch 2006), timing that varies in proportion to the gap (Repp 1997). Sizes of rubato, of the
hands' drift apart and of a learner's unsteadiness are our own choice within what the one recorded
performance and common practice suggest.
"""

from __future__ import annotations

import math
import random
from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from scripts.earcases.material import Recorded, Written


@dataclass
class Struck:
    """One key struck, and what it is: the truth beside the playing."""

    pitch: int
    velocity: int
    onset_s: float
    length_s: float
    score: int | None
    """Index of the window's score note, None for an extra key."""
    label: str = "match"
    beat: float = 0.0
    hand: str = "RH"


@dataclass(frozen=True, slots=True)
class Manner:
    """How a pianist plays."""

    beat_s: float
    rubato: float
    """Spread of the beat's length, as a share."""
    lead_s: float
    """The melody's head start."""
    jitter_s: float
    """Spread of single notes."""
    roll: float
    """Chance that a wide chord is rolled."""
    legato: float


def manner(rng: random.Random, shortest_beats: float) -> Manner:
    """A pianist's manner; the tempo keeps the shortest gap playable (70 ms and more)."""
    beat_s = max(rng.uniform(0.38, 1.0), rng.uniform(0.07, 0.11) / max(shortest_beats, 1e-6))
    style = rng.choice(("even", "lyrical", "free"))
    rubato = {"even": 0.02, "lyrical": 0.06, "free": 0.12}[style] * rng.uniform(0.6, 1.4)
    lead = rng.uniform(0.0, 0.035)
    roll = {"even": 0.02, "lyrical": 0.1, "free": 0.3}[style]
    return Manner(
        min(beat_s, 2.4), rubato, lead, rng.uniform(0.004, 0.012), roll, rng.uniform(0.5, 1.1)
    )


def play(
    notes: Sequence[Written], beats: Sequence[float], rng: random.Random, how: Manner
) -> list[Struck]:
    """Play a window once, without a mistake; ``beats`` is each note's place from the start."""
    clock = _clock(beats, rng, how)
    apart = {"RH": rng.gauss(0, 0.006), "LH": rng.gauss(0.008, 0.012)}
    placed = list(zip(notes, beats, strict=True))
    tops = {b: max(n.pitch for n, x in placed if x == b) for b in set(beats)}
    rolled: dict[tuple[float, str], float] = {}
    out = []
    for index, (note, beat) in enumerate(placed):
        key = (beat, note.hand)
        if key not in rolled:
            apart[note.hand] = 0.8 * apart[note.hand] + rng.gauss(0, 0.006)
            group = [n.pitch for n, x in placed if (x, n.hand) == key]
            wide = len(group) > 2 or max(group) - min(group) > 12
            rolled[key] = rng.uniform(0.02, 0.07) if wide and rng.random() < how.roll else 0.0
        rank = sum((x, n.hand) == key and n.pitch < note.pitch for n, x in placed)
        onset = clock(beat) + apart[note.hand] + rng.gauss(0, how.jitter_s) + rank * rolled[key]
        if note.pitch == tops[beat] and not rolled[key]:
            onset -= how.lead_s
        if note.grace:
            onset -= rng.uniform(0.04, 0.11)
        written = float(note.length) * how.beat_s * how.legato
        loud = min(max(int(rng.gauss(72 if note.pitch == tops[beat] else 60, 9)), 15), 120)
        length = max(written * rng.uniform(0.8, 1.1), 0.03)
        out.append(Struck(note.pitch, loud, onset, length, index, "match", beat, note.hand))
    return out


def _clock(beats: Sequence[float], rng: random.Random, how: Manner) -> Callable[[float], float]:
    """A map from beats to seconds: a phrase's arc, a slow wander, a weak final broadening."""
    last = max(beats) if beats else 1.0
    steps = max(math.ceil(last) * 4 + 4, 8)
    arc = how.rubato * rng.uniform(0, 1.5)
    wander, at, times = 0.0, rng.uniform(0.2, 1.5), []
    for step in range(steps):
        times.append(at)
        wander = 0.85 * wander + rng.gauss(0, how.rubato * 0.5)
        place = step / 4 / max(last, 1.0)
        shape = 1 + wander + arc * (4 * (place - 0.5) ** 2 - 0.3)
        at += how.beat_s / 4 * max(shape, 0.35)
    lateness: dict[float, float] = {}

    def seconds(beat: float) -> float:
        if beat not in lateness:
            lateness[beat] = rng.gauss(0, 0.004)
        low = min(max(int(beat * 4), 0), steps - 2)
        return times[low] + (beat * 4 - low) * (times[low + 1] - times[low]) + lateness[beat]

    return seconds


def from_recording(
    recording: Sequence[Recorded],
    index_of: dict[int, int],
    notes: Sequence[Written],
    beats: Sequence[float],
) -> list[Struck]:
    """The stretch of a recording that plays these notes (``index_of``: written -> window)."""
    inside = [r for r in recording if r.written in index_of]
    if not inside:
        return []
    low, high = inside[0].onset_s - 0.02, inside[-1].onset_s + 0.02
    start = low - 1.0
    out = []
    for r in recording:
        if r.written is None and low <= r.onset_s <= high:
            out.append(Struck(r.pitch, r.velocity, r.onset_s - start, r.length_s, None, "extra"))
        elif r.written in index_of:
            i = index_of[r.written]
            at = r.onset_s - start
            hand = notes[i].hand
            out.append(Struck(r.pitch, r.velocity, at, r.length_s, i, "match", beats[i], hand))
    return out


def draw_spread(rng: random.Random) -> float:
    """How much a learner's pulse wanders, as a share of each gap (SD)."""
    return rng.uniform(0.05, 0.15)


def slower(played: list[Struck], factor: float) -> None:
    """Stretch all times in place: half speed is factor 2; key lengths grow a little less."""
    for note in played:
        note.onset_s *= factor
        note.length_s *= factor


def unsteady(played: list[Struck], rng: random.Random, spread: float | None = None) -> None:
    """A learner's unsteadiness: a pulse that wanders, strokes that are off, each note a little.

    ``spread`` is how much the pulse does; None for any learner's. Clock and fingers as in Wing &
    Kristofferson (1973); their sizes are our own choice.
    """
    onsets = sorted({n.beat for n in played})
    if spread is None:
        spread = draw_spread(rng)
    first = {b: min(n.onset_s for n in played if n.beat == b) for b in onsets}
    shift, moved = 0.0, {onsets[0]: 0.0} if onsets else {}
    for before, after in pairwise(onsets):
        gap = min(max(first[after] - first[before], 0.0), 1.0)
        shift += gap * min(max(rng.gauss(0.05, spread), -0.3), 0.5)
        moved[after] = shift
    stroke = {beat: rng.gauss(0, 0.012) for beat in onsets}
    for note in played:
        place = onsets[max(bisect_right(onsets, note.beat) - 1, 0)]
        note.onset_s += moved[place] + stroke[place] + rng.gauss(0, 0.008)
