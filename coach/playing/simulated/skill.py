"""What a simulated pianist can and can't do yet: faults, levels, and how practice changes them.

Conventions
-----------
A chance is per attempt, at the piece's own tempo. ``correct`` counts the right repetitions of one
move. Figures without a source are our own choice: they set how a demo goes, nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import exp

from coach.score.model import Hands
from coach.score.window import Transition


class Law(StrEnum):
    """How a chance of failing falls with right repetitions."""

    EXPONENTIAL = "exponential"
    """By the same share each time: fits single learners best (Heathcote, Brown and Mewhort, 2000,
    Psychonomic Bulletin and Review 7, 185-207)."""
    POWER = "power"
    """Fast at first, then ever slower: fits averages of learners (the same)."""
    INSIGHT = "insight"
    """Hardly at all, and then at once."""


class Failing(StrEnum):
    """How a move fails."""

    WRONG_KEY = "wrong key"
    MISSED = "missed"
    LATE = "late"
    STUMBLE = "stumble"
    """The last notes are played again."""


@dataclass(frozen=True, slots=True)
class PlayerFault:
    """A move that this player can't do yet."""

    transition: Transition
    """Of one hand; of both together for a fault that shows only then."""
    chance: float
    """Of failing at the piece's own tempo, before any practice; 0 to 1."""
    failing: Failing = Failing.WRONG_KEY
    ease: float = 3.0
    """How much slower playing helps: the chance goes with (tempo / own tempo) ** ease. A reading
    fault has little (0.5), a leap much (4)."""
    learns: bool = True

    def chance_now(self, correct: float, rate: float, law: Law, tempo_share: float) -> float:
        """The chance after so many right repetitions, at a share of the piece's tempo."""
        left = remaining(correct, rate, law) if self.learns else 1.0
        eased: float = min(1.0, tempo_share) ** self.ease
        return min(1.0, self.chance * left * eased)

    @property
    def together_only(self) -> bool:
        """Shows only when both hands play."""
        return self.transition.hands is Hands.TOGETHER


def remaining(correct: float, rate: float, law: Law) -> float:
    """The share of a chance that is left after so many right repetitions."""
    if law is Law.EXPONENTIAL:
        return exp(-rate * correct)
    if law is Law.POWER:
        share: float = (1.0 + correct) ** (-4.0 * rate)
        return share
    return 1 / (1 + exp(min(2.0 * (correct - 1.5 / rate), 100.0)))


@dataclass(frozen=True, slots=True)
class Level:
    """How well a player plays what is no fault of theirs."""

    name: str
    slip: float
    """Chance of an ordinary slip at a note."""
    clock_share: float
    """Standard deviation of the inner clock's interval, as a share of it: it grows with the
    interval (Repp, 1997; Perception and Psychophysics 59, 530-541)."""
    motor_ms: float
    """Standard deviation of the finger's delay: what is left where a professional's scale has
    intervals with a standard deviation of 8 ms (Jabusch, 2006)."""
    rate: float
    """How fast right repetitions mend a fault."""
    pace: float
    """Own pace, as a share of the piece's tempo."""


NOVICE = Level("novice", 0.010, 0.030, 10.0, 0.18, 0.6)
INTERMEDIATE = Level("intermediate", 0.005, 0.022, 8.0, 0.25, 0.75)
ADVANCED = Level("advanced", 0.002, 0.015, 5.7, 0.35, 0.9)
LEVELS = (NOVICE, INTERMEDIATE, ADVANCED)

OVERNIGHT = 0.6
"""The share of right repetitions that is still there the next morning."""

TIRED_AFTER = 60
"""Repetitions without a rest after which chances of failing begin to grow."""
