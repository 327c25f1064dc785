"""How long a place is worked at without gain, and when it is left for today.

A teacher who hears no gain changes the way of practising, and then leaves the place: what is played
wrong often enough is learnt wrong, and a night does more than another half hour. What counts as
gain is that the chance of a clean one rises, or that it is clean in a wider window.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from coach.coaching.model import Exercise
from coach.score.window import Transition

MOST_TRIES = 18
"""Repetitions without gain, after which a place is left for today. Own choice: so many tell that it
is not the next one that does it."""
MOST_UNCLEAN = 12
"""Unclean ones running, after which it is left. Own choice: a dozen without one that comes tell
that it is not the next one that does it."""
MOST_S = 360.0
"""Seconds without gain: six minutes. Own choice, for slow places, of which a dozen take long."""
MOST_IN_ALL_S = 720.0
"""Seconds that one place gets in a sitting, gain or not: twelve minutes. Own choice, because what
takes longer is better begun anew tomorrow."""
FEWEST_TRIES = 9
"""However slow: so many repetitions at the least. Own choice, half of what ends it."""
WAY_AFTER, WAY_AFTER_HARD = 6, 3
"""Repetitions without gain, after which it is practised in another way; sooner where the pianist
has said that it is hard. Own choice: a third of what ends it, and half of that."""
GAIN = 0.05
"""What the chance of a clean one has to rise by, to be a gain. Own choice: one more clean one in
twenty is the least that shows in an evening."""
LONGEST_GAP_S = 30.0
"""Longer from one repetition to the next is a pause, and counts as so much. Own choice."""


@dataclass(slots=True)
class PlaceWork:
    """What was done at one place today."""

    chances: dict[int, float] = field(default_factory=dict)
    """For each rung the highest chance of a clean one, at the tempo asked for."""
    held_shares: dict[int, float] = field(default_factory=dict)
    """For each rung the quickest tempo that held, as a share of the one asked for."""
    tries: int = 0
    """Repetitions since the last gain."""
    since_gain_s: float = 0.0
    in_all_s: float = 0.0
    unclean: int = 0
    """Unclean ones running."""
    used: list[Exercise] = field(default_factory=list)
    slowed: bool = False
    """It was taken slower before anything else was tried."""
    before: tuple[Exercise, ...] = ()
    """How it was practised besides on earlier days: another way comes first now."""
    is_hard: bool = False
    """The pianist said so."""
    last_s: float | None = None

    def to_plain(self) -> dict[str, Any]:
        """What another day has to know, JSON-ready (:meth:`from_plain`)."""
        ways = dict.fromkeys((*self.before, *self.used))
        return {"before": [one.value for one in ways], "is_hard": self.is_hard}

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> PlaceWork:
        """The work at a place of which this is known: its tries begin anew."""
        return cls(before=tuple(map(Exercise, plain["before"])), is_hard=bool(plain["is_hard"]))

    def count(self, now_s: float, clean: bool, *, as_written: bool) -> None:
        """A repetition was played, of whatever serves this place."""
        self.unclean = 0 if clean else self.unclean + as_written
        took_s = 0.0 if self.last_s is None else min(max(now_s - self.last_s, 0.0), LONGEST_GAP_S)
        self.last_s = now_s
        self.tries += as_written
        self.since_gain_s += took_s
        self.in_all_s += took_s

    def hear_chance(self, rung: int, chance: float) -> None:
        """The chance of a clean one now, on a rung: it may be a gain."""
        before = self.chances.setdefault(rung, chance)
        if chance >= before + GAIN:
            self.chances[rung] = chance
            self._gain()

    def hear_hold(self, rung: int, share: float) -> None:
        """A rung held at a share of the tempo asked for: a gain, where it never did so quick."""
        if share > self.held_shares.get(rung, 0.0):
            self.held_shares[rung] = share
            self._gain()

    def _gain(self) -> None:
        self.tries, self.since_gain_s = 0, 0.0

    @property
    def is_over(self) -> bool:
        """No gain for so long that it is left for today."""
        long = self.since_gain_s >= MOST_S or self.in_all_s >= MOST_IN_ALL_S
        many = self.tries >= MOST_TRIES or self.unclean >= MOST_UNCLEAN
        return many or (long and self.tries >= FEWEST_TRIES)

    @property
    def wants_another_way(self) -> bool:
        """No gain for so long that it is practised in another way first."""
        after = WAY_AFTER_HARD if self.is_hard else WAY_AFTER
        return self.tries >= after * (1 + self.slowed + len(self.used))


@dataclass(frozen=True, slots=True)
class LeftPlace:
    """A place that was left for today."""

    transition: Transition
    at_s: float
    """When, in Unix time."""
    used: tuple[Exercise, ...] = ()
    """How it was practised besides."""

    def to_plain(self) -> dict[str, Any]:
        """JSON-ready; :meth:`from_plain` reads it back."""
        used = [one.value for one in self.used]
        return {**self.transition.to_plain(), "at_s": self.at_s, "used": used}

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> LeftPlace:
        """A place from the data of :meth:`to_plain`."""
        move = Transition.from_plain(plain)
        return cls(move, float(plain["at_s"]), tuple(map(Exercise, plain["used"])))
