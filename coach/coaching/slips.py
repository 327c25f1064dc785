"""The player's slips: how often a move fails at which nothing stands at fault."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

SLIP_SHAPE = 1.5
"""Freedom of a healthy move's own slip rate around the player's: shape of its Beta."""
SLIPS_BEFORE, MOVES_BEFORE = 0.3, 60.0
"""What is known of a player before anything is heard: a third of a slip in sixty moves."""


@dataclass(frozen=True, slots=True)
class Slips:
    """A player's slip rate, as the Beta that a healthy move's own rate is drawn from."""

    a: float
    b: float

    @classmethod
    def of_rate(cls, rate: float) -> Slips:
        """With the given mean rate."""
        return cls(SLIP_SHAPE, SLIP_SHAPE * (1.0 - rate) / rate)

    @property
    def rate(self) -> float:
        """The mean."""
        return self.a / (self.a + self.b)


def slip_rate(tallies: Iterable[tuple[float, float, float]]) -> Slips:
    """The player's slips from (failures, attempts, chance of health) of every move."""
    slips, moves = SLIPS_BEFORE, MOVES_BEFORE
    for failed, attempts, healthy in tallies:
        slips += failed * healthy
        moves += attempts * healthy
    return Slips.of_rate(min(slips / moves, 0.5))
