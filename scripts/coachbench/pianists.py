"""Pianists with known faults, made from a seed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from random import Random

from coach.playing.simulated.player import (
    INTERMEDIATE,
    Failing,
    Law,
    Level,
    PlayerFault,
    SimulatedPianist,
)
from coach.score.model import Score
from scripts.coachbench.sections import plant, section

STEADY = replace(INTERMEDIATE, name="steady", slip=0.0)


def make(
    seed: int,
    count: int,
    *,
    level: Level = STEADY,
    law: Law = Law.EXPONENTIAL,
    chance: float = 0.6,
    ease: float = 0.0,
    learns: bool = False,
    together: bool = False,
    ways: Sequence[Failing] = tuple(Failing),
    kind: type[SimulatedPianist] = SimulatedPianist,
) -> tuple[Score, tuple[PlayerFault, ...], Callable[[], SimulatedPianist]]:
    """A section, its faults, and a maker of the same pianist, fresh."""
    random = Random(seed)
    score = section(random)
    faults = plant(
        random, score, count, chance=chance, ease=ease, learns=learns, together=together, ways=ways
    )
    return (
        score,
        faults,
        lambda: kind(score, seed=seed, faults=faults, level=level, law=law),
    )
