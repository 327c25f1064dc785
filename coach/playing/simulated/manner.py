"""The manner of an evening's player: how time scatters and keys are held, drawn at dice.

The families of scatter are not those that the judging assumes: some have heavy tails, some wander,
some sway with the phrase. All figures without a source are our own choice of what people at home
do, so that what is called right here is right by any teacher's ear.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import copysign, log, pi, sin
from random import Random

SHORTEST_GAP_S = 0.085
"""No hand is asked for more than twelve onsets a second: a good amateur's limit."""
SCATTER_SHARE = 0.12
"""Scatter as a share of the time between onsets, at the most: it shrinks where the notes are fast,
or the playing would not be right."""
FARTHEST = 2.2
"""Standard deviations beyond which a right onset does not stray."""
CLICK_SCATTER_S = 0.014
"""Scatter of one who is with a click, at the most."""
CLICK_FARTHEST_S = 0.032
"""How far a right onset strays from the click at the most, the constant offset aside: well within
two standard deviations of untrained tapping (25 ms; Repp 2005)."""


@dataclass(frozen=True, slots=True)
class Manner:
    """How one player plays, for an evening."""

    family: str
    """How onsets scatter: gaussian, laplace, even, wandering, lumpy."""
    scatter_s: float
    """Standard deviation of an onset, in seconds."""
    clock_share: float
    """Standard deviation of an interval that adds up, as a share of it."""
    sway: float
    """How far the tempo sways with the phrase, as a share."""
    drift: float
    """How far the tempo rises or sinks over a repetition, as a share."""
    spread_s: float
    """How far the keys of a chord lie apart at the most."""
    rolls: bool
    """Chords from below, instead of in any order."""
    lead_s: float
    """How far one hand leads."""
    held: float
    """Share of the time to the hand's next onset for which keys are held; more than 1 overlaps."""
    held_scatter: float
    velocity: float
    velocity_scatter: float
    tempo_low: float
    tempo_high: float
    """Bounds of the own tempo, as shares of the one asked for."""
    click_offset_s: float

    @classmethod
    def draw_manner(cls, dice: Random) -> Manner:
        """A manner as any other."""
        low = dice.uniform(0.5, 1.0)
        return cls(
            family=dice.choice(("gaussian", "laplace", "even", "wandering", "lumpy")),
            scatter_s=dice.uniform(0.010, 0.035),
            clock_share=dice.uniform(0.0, 0.03),
            sway=dice.choice((0.0, dice.uniform(0.0, 0.06))),
            drift=dice.uniform(-0.08, 0.08),
            spread_s=dice.uniform(0.002, 0.040),
            rolls=dice.random() < 0.3,
            lead_s=dice.choice((0.0, dice.uniform(-0.02, 0.03))),
            held=dice.choice((0.5, 0.7, 0.85, 0.95, 1.02, 1.1)),
            held_scatter=dice.uniform(0.02, 0.15),
            velocity=dice.uniform(25, 95),
            velocity_scatter=dice.uniform(3, 15),
            tempo_low=low,
            tempo_high=dice.uniform(max(low, 0.8), 1.3),
            click_offset_s=dice.uniform(-0.045, 0.020),
        )

    def scatter(self, dice: Random) -> Callable[[], float]:
        """Draws of a deviation with standard deviation 1, cut off where right ends."""
        state = 0.0

        def draw() -> float:
            nonlocal state
            if self.family == "gaussian":
                value = dice.gauss(0, 1)
            elif self.family == "laplace":
                value = copysign(-log(1 - dice.random()), dice.random() - 0.5) / 2**0.5
            elif self.family == "even":
                value = dice.uniform(-(3**0.5), 3**0.5)
            elif self.family == "wandering":
                state = 0.8 * state + 0.6 * dice.gauss(0, 1)
                value = state
            else:  # mostly well, now and then not
                value = dice.gauss(0, 2.0 if dice.random() < 0.2 else 0.5)
            return min(max(value, -FARTHEST), FARTHEST)

        return draw


def in_time(
    gaps_quarters: Sequence[float], quarter_s: float, manner: Manner, dice: Random
) -> list[float]:
    """When each onset comes, the first at about 0; the gaps lie between one and the next."""
    draw = manner.scatter(dice)
    count = max(len(gaps_quarters), 1)
    phase, waves = dice.uniform(0, 2 * pi), dice.uniform(0.5, 2.0)
    clock_s, times = 0.0, []
    for at, gap in enumerate([0.0, *gaps_quarters]):
        share = at / count
        slower = (
            1 + manner.drift * (share - 0.5) + manner.sway * sin(phase + 2 * pi * waves * share)
        )
        step_s = gap * quarter_s * slower
        clock_s += step_s * (1 + manner.clock_share * min(max(dice.gauss(0, 1), -2), 2))
        around_s = _around(gaps_quarters, at) * quarter_s
        times.append(clock_s + draw() * min(manner.scatter_s, SCATTER_SHARE * around_s))
    return _in_order(times)


def with_click(
    places_quarters: Sequence[float], quarter_s: float, manner: Manner, dice: Random
) -> list[float]:
    """When each onset comes against a click: places from the beat that is clicked at 0."""
    draw = manner.scatter(dice)
    sd_s = min(manner.scatter_s, CLICK_SCATTER_S)
    off = [min(max(draw() * sd_s, -CLICK_FARTHEST_S), CLICK_FARTHEST_S) for _ in places_quarters]
    return _in_order(
        [
            place * quarter_s + manner.click_offset_s + one
            for place, one in zip(places_quarters, off, strict=True)
        ]
    )


def _around(gaps: Sequence[float], at: int) -> float:
    """The shorter of the gaps before and after an onset."""
    near = [gap for gap in gaps[max(at - 1, 0) : at + 1] if gap > 0]
    return min(near, default=1.0)


def _in_order(times: list[float]) -> list[float]:
    """The same, where no onset comes before the one it follows."""
    for at in range(1, len(times)):
        times[at] = max(times[at], times[at - 1] + 0.02)
    return times
