"""Each hand's onsets in order, and the rows among them that are written even.

Conventions
-----------
A *row* is a run of one hand's onsets, equally far apart in the score, with nothing broken between
them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from coach.judging.timing_moments import Moment
from coach.score.model import Hand

Point = tuple[int, float, float]
"""Moment, seconds, quarters."""
Points = Mapping[Hand, Sequence[Point]]
"""Each hand's onsets."""


def points_of(row: Sequence[Moment]) -> Points:
    """Each hand's onsets, rolled and ornamented ones left out."""
    out: dict[Hand, list[Point]] = {hand: [] for hand in Hand}
    for i, moment in enumerate(row):
        for onset in moment.hands:
            if not onset.loose:
                out[onset.hand].append((i, onset.at_s, moment.x))
    return out


def even_runs(points: Sequence[Point], held: frozenset[int]) -> Iterator[list[Point]]:
    """A hand's rows: runs of onsets equally far apart in the score, the shortest of two."""
    run: list[Point] = []
    for point in points:
        if run and not _continues(run, point, held):
            yield run
            run = run[-1:] if not held_between(run[-1], point, held) else []
        run.append(point)
    if run:
        yield run


def _continues(run: list[Point], point: Point, held: frozenset[int]) -> bool:
    if held_between(run[-1], point, held):
        return False
    if len(run) < 2:
        return True
    return abs((point[2] - run[-1][2]) - (run[-1][2] - run[-2][2])) < 1e-6


def held_between(before: Point, after: Point, held: frozenset[int]) -> bool:
    """Whether a pause or a break lies between two onsets."""
    return bool(held) and any(i in held for i in range(before[0] + 1, after[0] + 1))
