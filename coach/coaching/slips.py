"""The player's slips: how often a move fails at which nothing stands at fault.

A player's rate is learnt from all moves together, and is never quite known: it is a Gamma, of so
many slips in so many moves. A place is held against what is known of the player *elsewhere*:
otherwise two slips at one place, once they are taken for a fault, would make the player look so
careful that they could have been nothing else.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

SLIP_SHAPE = 1.5
"""Freedom of a healthy move's own slip rate around the player's: shape of its Beta."""
SLIPS_BEFORE, MOVES_BEFORE = 0.6, 120.0
"""What is known of a player before anything is heard: one slip in two hundred moves, as vaguely as
if half a slip had been heard. Players differ by a factor of ten and more (our choice)."""
MOST_RATE = 0.5


@dataclass(frozen=True, slots=True)
class Slips:
    """A player's slip rate, as the Beta that a healthy move's own rate is drawn from."""

    a: float
    b: float

    @classmethod
    def of(cls, slips: float, moves: float) -> Slips:
        """With the mean of so many slips in so many moves, and as wide as is not known better.

        The squares of the spread that a Gamma of that many slips has, and of a move's own, add up
        (1 + 1/shape of each multiply).
        """
        rate = min(slips / moves, MOST_RATE)
        shape = 1.0 / ((1.0 + 1.0 / SLIP_SHAPE) * (1.0 + 1.0 / slips) - 1.0)
        return cls(shape, shape * (1.0 - rate) / rate)

    @property
    def rate(self) -> float:
        """The mean."""
        return self.a / (self.a + self.b)


@dataclass(frozen=True, slots=True)
class Heard:
    """Slips that were heard of a player, and the moves in which."""

    slips: float = SLIPS_BEFORE
    moves: float = MOVES_BEFORE

    @classmethod
    def of(cls, tallies: Iterable[tuple[float, float, float]]) -> Heard:
        """From (failures, attempts, chance of health) of every place, and from what was before."""
        slips, moves = SLIPS_BEFORE, MOVES_BEFORE
        for failed, attempts, healthy in tallies:
            slips += failed * healthy
            moves += attempts * healthy
        return cls(slips, moves)

    def elsewhere(self, failed: float, attempts: float, healthy: float) -> Slips:
        """The player's slips as they are known from all places but this one."""
        return Slips.of(
            max(self.slips - failed * healthy, SLIPS_BEFORE),
            max(self.moves - attempts * healthy, MOVES_BEFORE),
        )

    @property
    def everywhere(self) -> Slips:
        """The player's slips, from all places."""
        return Slips.of(self.slips, self.moves)
