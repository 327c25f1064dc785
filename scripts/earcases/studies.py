"""Pieces made by rule: the textures and metres that the packages' scores lack."""

from __future__ import annotations

import random
from collections.abc import Iterator
from fractions import Fraction

from scripts.earcases.material import Piece, Written

METRES = (("2/4", 2, 1), ("3/4", 3, 1), ("4/4", 4, 1), ("6/8", 2, Fraction(3, 2)),
          ("12/8", 4, Fraction(3, 2)), ("2/2", 2, 2), ("9/8", 3, Fraction(3, 2)))  # fmt: skip
PATTERNS = (
    (1,),
    (Fraction(1, 2), Fraction(1, 2)),
    (Fraction(3, 4), Fraction(1, 4)),
    (Fraction(1, 3),) * 3,
    (Fraction(2, 3), Fraction(1, 3)),
    (Fraction(1, 2), Fraction(1, 4), Fraction(1, 4)),
    (Fraction(1, 4),) * 4,
)
"""How a tune divides a beat."""
MAJOR = (0, 2, 4, 5, 7, 9, 11)
RIGHT = ("scale", "thirds", "repeated", "arpeggio", "octaves", "tune", "trill", "chords")
LEFT = ("alberti", "waltz", "block", "octaves", "bass", "tune", "repeated", "arpeggio")


def studies(seed: int, count: int, bars: int = 12) -> Iterator[Piece]:
    """Seeded pieces of two hands; each bar draws its own texture for each hand."""
    for index in range(count):
        rng = random.Random(f"{seed}/{index}")
        yield study(rng, f"study {index}", bars)


def study(rng: random.Random, name: str, bars: int) -> Piece:
    """One piece: a random metre, key and textures."""
    metre, beats, beat = rng.choice(METRES)
    beat = Fraction(beat)
    key = rng.randrange(12)
    length = beat * beats
    notes: dict[tuple[Fraction, int], Written] = {}
    for bar in range(bars):
        chord = rng.choice((0, 3, 4, 5, 1))
        for staff, kinds, centre in ((1, RIGHT, 72), (2, LEFT, 48)):
            kind = rng.choice(kinds)
            for onset, size, steps in _figure(rng, kind, beats, beat):
                for step in steps:
                    pitch = _pitch(centre, key, chord + step)
                    if 24 <= pitch <= 105:
                        at = bar * length + onset
                        notes.setdefault((at, pitch), Written(pitch, at, size, staff))
    ordered = tuple(sorted(notes.values(), key=lambda n: (n.onset, n.pitch)))
    return Piece(name, metre, beat, tuple(bar * length for bar in range(bars)), ordered)


def _pitch(centre: int, key: int, step: int) -> int:
    octave, degree = divmod(step, 7)
    return centre - 6 + (key + 6) % 12 + 12 * octave + MAJOR[degree]


Figure = list[tuple[Fraction, Fraction, tuple[int, ...]]]


def _figure(rng: random.Random, kind: str, beats: int, beat: Fraction) -> Figure:
    three = beat.numerator == 3
    division = rng.choice((3, 6) if three else (1, 2, 2, 3, 4, 4))
    size = beat / division
    count = beats * division
    start, way = rng.randrange(-3, 6), rng.choice((-1, 1))
    slots = [(i * size, size) for i in range(count)]
    if kind == "scale":
        return [(at, n, (start + way * i,)) for i, (at, n) in enumerate(slots)]
    if kind == "thirds":
        return [(at, n, (start + way * i, start + way * i + 2)) for i, (at, n) in enumerate(slots)]
    if kind == "repeated":
        return [(at, n, (start + i // division,)) for i, (at, n) in enumerate(slots)]
    if kind == "arpeggio":
        steps = (0, 2, 4, 7, 9, 11, 9, 7, 4, 2)
        return [(at, n, (steps[i % 10] - 3,)) for i, (at, n) in enumerate(slots)]
    if kind == "octaves":
        return [(at, n, (start + w, start + w + 7)) for (at, n), w in _walk(rng, slots)]
    if kind == "trill":
        return [(at, n, (start + i % 2,)) for i, (at, n) in enumerate(slots)]
    if kind == "alberti":
        return [(at, n, ((0, 4, 2, 4)[i % 4],)) for i, (at, n) in enumerate(slots)]
    if kind == "waltz":
        return [(i * beat, beat, (-7,) if i == 0 else (0, 2, 4)) for i in range(beats)]
    if kind in ("block", "chords"):
        return [(i * beat, beat, (start, start + 2, start + 4)) for i in range(beats)]
    if kind == "bass":
        return [(i * beat, beat, (start + rng.randrange(-4, 4),)) for i in range(beats)]
    return _tune(rng, beats, beat, start)


def _walk(
    rng: random.Random, slots: list[tuple[Fraction, Fraction]]
) -> Iterator[tuple[tuple[Fraction, Fraction], int]]:
    step = 0
    for slot in slots:
        yield slot, step
        step += rng.choice((-2, -1, -1, 1, 1, 2))


def _tune(rng: random.Random, beats: int, beat: Fraction, start: int) -> Figure:
    """A line in mixed values, dotted figures among them, now and then a second voice or a rest."""
    out: Figure = []
    step = start
    for index in range(beats):
        at = index * beat
        for part in rng.choice(PATTERNS):
            size = part * beat
            steps = (step,) if rng.random() > 0.15 else (step - rng.choice((2, 3, 5)), step)
            if rng.random() > 0.08:
                out.append((at, size, steps))
            at += size
            step += rng.choice((-3, -2, -1, -1, 0, 1, 1, 2, 4))
    return out
