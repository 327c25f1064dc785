"""The player's slips: how often a move fails at which nothing stands at fault.

How a fault shows while both hands play: in its own hand, in the other, or in both at once.

A hand that hesitates makes the other wait; a wrong key stays in its own hand. In which manner a
fault shows is not known before it has shown, so each way has its share, and what was seen of it
makes one way likelier than the others.

How likely each beat's arrival is at fault, and in which hand: Bayes' rule on the tallies.

Four explanations are weighed for every beat: nothing stands there and failures were slips; the
right hand's move is at fault; the left hand's; or only both together. A slip's rate is the
player's own, estimated from all the other moves, and each move keeps some freedom to be a harder
one. The chance of a standing fault is shared out over all the moves that were looked at, so that
looking at more of them does not make a false claim likelier: where slips are as modelled, the
chance that any healthy move's posterior ever passes ``c`` is at most (1 - c) / c (Ville's
inequality, 1939, from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import exp, log

from coach.coaching.diagnosis.evidence import BeatTally, Evidence, hand_of
from coach.coaching.diagnosis.statistics import log_beta_binomial, posterior
from coach.score.model import Hand, Hands
from coach.score.window import Transition

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


Manner = tuple[float, float, float]
"""Chances that a failure shows in the first hand only, in the second only, in both."""
Ways = Sequence[tuple[float, Manner]]
"""The manners that there are, each with its share before anything was seen."""

ONE_HAND: Ways = ((0.65, (0.94, 0.01, 0.05)), (0.35, (0.15, 0.01, 0.84)))
"""A fault of one hand: its own hand is the first."""
TOGETHER: Ways = (
    (0.25, (0.9, 0.05, 0.05)),
    (0.25, (0.05, 0.9, 0.05)),
    (0.25, (0.05, 0.05, 0.9)),
    (0.25, (0.34, 0.33, 0.33)),
)
"""A fault of both together: the right hand is the first."""


def log_chance(seen: Sequence[float], ways: Ways) -> float:
    """Log chance of what was seen (failures in the first hand, the second, both)."""
    return log(sum(_weights(seen, ways)))


def expected(seen: Sequence[float], ways: Ways) -> Manner:
    """How the next failure shows, after what was seen."""
    weights = _weights(seen, ways)
    total = sum(weights)
    first, second, both = (
        sum(w * manner[i] for w, (_, manner) in zip(weights, ways, strict=True)) / total
        for i in range(3)
    )
    return first, second, both


def _weights(seen: Sequence[float], ways: Ways) -> list[float]:
    return [
        part * exp(sum(count * log(chance) for count, chance in zip(seen, manner, strict=True)))
        for part, manner in ways
    ]


FAULT_A, FAULT_B = 1.8, 1.2
"""How often a standing fault fails: Beta, mean 0.6, broad."""
TOGETHER_SHARE = 0.27
"""Of the chance that a beat is at fault: only when both hands play."""
FIRST_GUESS = 0.3
"""Chance that a failure was a slip, before anything is weighed."""
SURE = 0.92
"""A fault as sure as a claimed one makes the others likelier, by as much as was expected of all:
who has one place that breaks may well have a second."""
ROUNDS = 3
MOST_MOVES = 240.0
"""The chance of a fault is shared among no more moves than this: long pieces have more faults."""


@dataclass(frozen=True, slots=True)
class Belief:
    """Probabilities of the four explanations of one beat."""

    healthy: float
    right: float
    left: float
    together: float

    @property
    def fault(self) -> float:
        """Probability that something stands at fault here."""
        return 1.0 - self.healthy

    @property
    def best(self) -> Hands:
        """Whose fault it most likely is, if it is one."""
        ranked = (self.right, Hands.RIGHT), (self.left, Hands.LEFT), (self.together, Hands.TOGETHER)
        return max(ranked, key=lambda pair: pair[0])[1]

    def of(self, hands: Hands) -> float:
        """Probability that the fault is just these hands'."""
        return {Hands.RIGHT: self.right, Hands.LEFT: self.left}.get(hands, self.together)


def beliefs(
    evidence: Evidence, transitions: Sequence[Transition]
) -> tuple[dict[Fraction, Belief], Slips]:
    """Belief about each beat at which anything failed, and the player's slips.

    ``transitions`` are all the single-hand moves that were looked at. In rounds: what one
    takes for faults is left out of the slip rate of the next.
    """
    hands: dict[Fraction, frozenset[Hands]] = {}
    sums: list[tuple[Fraction, float, float]] = []
    for transition in transitions:
        beat = transition.to_quarters
        tally = evidence.tally(beat)
        sums.append((beat, *tally.totals(hand_of(transition))))
        if tally.failed > 0.0:
            hands[beat] = hands.get(beat, frozenset()) | {transition.hands}
    chance = chance_of_fault(len(transitions))
    # Begin by taking every failure more for a fault than for a slip; the rounds set it right.
    slips = slip_rate(
        (failed, n, FIRST_GUESS / max(failed, 1.0) if failed else 1.0) for _, failed, n in sums
    )
    out: dict[Fraction, Belief] = {}
    for _ in range(ROUNDS):
        found = sum(one.fault for one in out.values() if one.fault > SURE)
        likelier = round(chance * (1.0 + found), 4)
        out = {
            beat: belief_of(evidence.tally(beat), slips, likelier, whose)
            for beat, whose in hands.items()
        }
        slips = slip_rate(
            (failed, n, out[beat].healthy if beat in out else 1.0) for beat, failed, n in sums
        )
    return out, slips


def chance_of_fault(moves: int) -> float:
    """Chance, before hearing it, that one of so many moves is at fault: one in all of them."""
    return 1.0 / min(max(moves, 2), MOST_MOVES)


def belief_of(tally: BeatTally, slips: Slips, chance: float, hands: frozenset[Hands]) -> Belief:
    """Bayes' rule for one beat, at which these hands have notes.

    ``chance`` is that of one hand's move being at fault, before anything is heard of it.
    """
    prior = _prior(chance, Hands.RIGHT in hands, Hands.LEFT in hands)
    key = (
        tally.together,
        tally.right_failed,
        tally.left_failed,
        tally.both_failed,
        *(x for hand in Hand for x in _alone(tally, hand)),
    )
    rounded = tuple(round(x, 3) for x in key)
    return _believed(rounded, round(slips.a, 4), round(slips.b, 2), prior)


def _alone(tally: BeatTally, hand: Hand) -> tuple[float, float]:
    """Failures and attempts of a hand alone, as far as they tell of how this beat fails."""
    counts = tally.alone[hand]
    return counts.failed, counts.telling(tally.late_share)


@lru_cache(maxsize=64)
def _prior(chance: float, right: bool, left: bool) -> Belief:
    total = chance * (right + left)
    each = chance * (1.0 - TOGETHER_SHARE)
    return Belief(1.0 - total, each * right, each * left, total * TOGETHER_SHARE)


@lru_cache(maxsize=8192)
def _believed(key: tuple[float, ...], a: float, b: float, prior: Belief) -> Belief:
    together, right, left, both, right_alone, right_tries, left_alone, left_tries = key

    def healthy(failed: float, attempts: float) -> float:
        return log_beta_binomial(failed, attempts, a, b)

    def faulty(failed: float, attempts: float) -> float:
        return log_beta_binomial(failed, attempts, FAULT_A, FAULT_B)

    right_all, left_all = together + right_tries, together + left_tries
    # What fails in both hands at once is one event: a slip of one that made the other wait.
    whose = (
        healthy(right + both + right_alone, right_all) + healthy(left + left_alone, left_all),
        healthy(right + right_alone, right_all) + healthy(left + both + left_alone, left_all),
    )
    slipped = log(sum(map(exp, whose)) / 2) if both else whose[0]
    logs = (
        slipped + log_chance((right + left, 0.0, both), ONE_HAND),
        faulty(right + both + right_alone, right_all)
        + healthy(left + left_alone, left_all)
        + log_chance((right, 0.0, both), ONE_HAND),
        faulty(left + both + left_alone, left_all)
        + healthy(right + right_alone, right_all)
        + log_chance((left, 0.0, both), ONE_HAND),
        faulty(right + left + both, together)
        + log_chance((right, left, both), TOGETHER)
        + healthy(right_alone, right_tries)
        + healthy(left_alone, left_tries),
    )
    return Belief(*posterior((prior.healthy, prior.right, prior.left, prior.together), logs))
