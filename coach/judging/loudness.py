"""Loudness against its marks: p against f, and hairpins, each relative to the same take.

How loud a piano is and how hard a player strikes nobody knows, so that only differences within one
take are judged, only where they are marked, and only their way: louder at a louder mark.

Conventions
-----------
Loudness is MIDI velocity, which on digital pianos goes roughly with decibels.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import sqrt
from statistics import fmean, median

from coach.judging.model import Label, Matching
from coach.playing.notes import PlayedNote
from coach.score.model import LineKind
from coach.score.window import Excerpt

_LEVELS = ("ppp", "pp", "p", "mp", "mf", "f", "ff", "fff")
_LEAST_STEPS = 2
"""Marks nearer than this (p and mp) differ by too little to ask for: own choice."""
_LEAST_CONTRAST = 5.0
"""Velocities by which the middle of what stands under one mark must differ from that under the
other. Own choice: half of the 9 or so by which a pianist's single notes scatter; p and f are
some 20 to 30 apart."""
_LEAST_NOTES = 3
"""Fewer notes under a mark show no loudness of their own: own choice."""
_LEAST_RISE = 4.0
"""Velocities by which a hairpin must rise or sink from its beginning to its end. Own choice, less
than between two marks, since it is to be heard as a way and not as a step."""
_DOUBT = 1.0
"""...with so many standard errors in the player's favour, for single notes scatter by 9 or so, and
few onsets show no line. Own choice: of marked hairpins that were played one in eight is told
without it, one in eighteen with it; of those played the other way nine in ten still are
(``scripts/bench_shape.py``, 279 windows)."""
_LEAST_ONSETS = 4
"""Through fewer onsets no line is drawn: own choice."""


@dataclass(frozen=True, slots=True)
class NoContrast:
    """A dynamic that was not heard, from its onset on."""

    onset_quarters: Fraction
    mark: str
    louder: bool
    """Whether it asked for more than the one before."""


@dataclass(frozen=True, slots=True)
class NoHairpin:
    """A hairpin that was not heard."""

    first_quarters: Fraction
    last_quarters: Fraction
    louder: bool


@dataclass(frozen=True, slots=True)
class Loudness:
    """What of the loudness is not as marked."""

    contrasts: tuple[NoContrast, ...] = ()
    hairpins: tuple[NoHairpin, ...] = ()


def measure_loudness(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching
) -> Loudness:
    """The marks that were not heard; nothing where none stands in the window."""
    if not excerpt.directions and not excerpt.lines:
        return Loudness()
    strokes = [
        (excerpt.notes[label.note].onset_quarters, played[label.played].velocity)
        for label in matching.score
        if label.label is Label.MATCHED and label.played is not None
    ]
    return Loudness(
        tuple(_find_missing_contrasts(excerpt, strokes)),
        tuple(_find_missing_hairpins(excerpt, strokes)),
    )


def _find_missing_contrasts(
    excerpt: Excerpt, strokes: Sequence[tuple[Fraction, int]]
) -> Iterator[NoContrast]:
    marks = {d.onset_quarters: d.text for d in excerpt.directions if d.text in _LEVELS}
    places = sorted(marks)
    swelling = [line for line in excerpt.lines if line.kind is not LineKind.PEDAL]
    under: list[list[int]] = [[] for _ in places]
    for onset, velocity in strokes:
        k = sum(place <= onset for place in places) - 1
        if k >= 0 and not any(h.start_quarters <= onset < h.end_quarters for h in swelling):
            under[k].append(velocity)
    for k in range(1, len(places)):
        steps = _LEVELS.index(marks[places[k]]) - _LEVELS.index(marks[places[k - 1]])
        if abs(steps) < _LEAST_STEPS or min(len(under[k - 1]), len(under[k])) < _LEAST_NOTES:
            continue
        more = median(under[k]) - median(under[k - 1])
        if (more if steps > 0 else -more) < _LEAST_CONTRAST:
            yield NoContrast(places[k], marks[places[k]], steps > 0)


def _find_missing_hairpins(
    excerpt: Excerpt, strokes: Sequence[tuple[Fraction, int]]
) -> Iterator[NoHairpin]:
    for line in excerpt.lines:
        if line.kind is LineKind.PEDAL:
            continue
        own: dict[Fraction, list[int]] = {}
        for onset, velocity in strokes:
            if line.start_quarters <= onset <= line.end_quarters:
                own.setdefault(onset, []).append(velocity)
        if len(own) < _LEAST_ONSETS:
            continue
        louder = line.kind is LineKind.CRESCENDO
        onsets = sorted(own)
        rise, error = _measure_rise([float(x) for x in onsets], [fmean(own[x]) for x in onsets])
        if (rise if louder else -rise) + _DOUBT * error < _LEAST_RISE:
            yield NoHairpin(onsets[0], onsets[-1], louder)


def _measure_rise(xs: Sequence[float], values: Sequence[float]) -> tuple[float, float]:
    """How much a least squares line rises from the first place to the last; its standard error."""
    middle, mean, span = fmean(xs), fmean(values), xs[-1] - xs[0]
    spread = sum((x - middle) ** 2 for x in xs)
    slope = sum((x - middle) * (v - mean) for x, v in zip(xs, values, strict=True)) / spread
    left = sum((v - mean - slope * (x - middle)) ** 2 for x, v in zip(xs, values, strict=True))
    return slope * span, sqrt(left / (len(xs) - 2) / spread) * span
