"""Troubles: why a beat fails, by a Bayesian fault model, and what of that is claimed.

The fault model is a posterior over four explanations of each beat, with Beta-binomial counts.
Four explanations are weighed for every beat at which anything failed: nothing stands at fault and
the failures were slips; the right hand's move is at fault; the left hand's; or only both together.
The counts of :mod:`~coach.coaching.diagnosis.evidence` are weighed by Bayes' rule. How often a move
fails is not known exactly, under any explanation: it is drawn from a Beta distribution, so the
counts are Beta-binomial (Skellam 1948).

Three parts make up the model:

slip rate
    How often a healthy move fails. It is the player's own, and not known: it is integrated over,
    by what all the moves that were looked at say of it (hierarchical Bayes: Lindley and Smith
    1972); each move keeps some freedom to be a harder one.
hand pattern
    In which hand a fault shows while both play. A hand that hesitates makes the other wait; a wrong
    key stays in its own hand. Which of the two it is, is not known before it has shown; so each
    pattern has its share, and what was seen makes one likelier than the others.
posterior
    The four probabilities of one beat. The chance of a fault, before anything is heard, is shared
    out over all the moves that were looked at; so looking at more of them does not make a false
    claim likelier: where slips are as modelled, the chance that any healthy move's posterior ever
    passes ``c`` is at most (1 - c) / c (Ville's inequality, 1939, from memory).

From the posteriors follow the troubles: which is claimed, which only suspected, and of which kind
(Fitts 1954).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from math import exp, log, log2
from typing import NamedTuple

from coach.coaching.diagnosis.evidence import AttemptCounts, BeatCounts, Evidence, MoveAttempt
from coach.coaching.diagnosis.statistics import log_beta, log_beta_binomial, posterior_probabilities
from coach.coaching.model import Trouble, TroubleKind
from coach.coaching.windows import PracticeMap
from coach.coaching.wording import (
    arrival_words,
    evidence_words,
    move_words,
    open_hand_words,
    way_words,
)
from coach.judging.model import Outcome
from coach.score.model import Hand, Hands
from coach.score.window import Transition

SLIP_SHAPE = 1.5
"""Shape of the Beta that a healthy move's own slip rate is drawn from; the smaller, the more moves
differ. Own choice, because some moves are harder than others by several times, not by a hundred."""
SLIPS_BEFORE, MOVES_BEFORE = 0.3, 60.0
"""Slips, and moves in which they came, that count as seen before anything is heard: a third of a
slip in sixty moves. Own choice, because so little gives way to what a first page of playing
shows."""


@dataclass(frozen=True, slots=True)
class SlipRate:
    """A player's slip rate, as the Beta that a healthy move's own rate is drawn from."""

    a: float
    b: float

    @classmethod
    def of_mean(cls, rate: float) -> SlipRate:
        """With the given mean rate."""
        return cls(SLIP_SHAPE, SLIP_SHAPE * (1.0 - rate) / rate)

    @property
    def mean(self) -> float:
        """The mean."""
        return self.a / (self.a + self.b)


SLIP_RATES = tuple(
    map(
        SlipRate.of_mean,
        (0.0005, 0.001, 0.002, 0.004, 0.008, 0.016, 0.032, 0.064, 0.125, 0.25, 0.5),
    )
)
"""The slip rates that are weighed. Own choice: one slip in 2,000 moves is none in an evening, who
fails every other move has no slips, and between two of them lies a factor of two, which some
hundred moves do not tell apart."""


HandPattern = tuple[float, float, float]
"""Chances that a failure shows in the first hand only, in the second only, in both; they sum to
1."""
PatternMixture = Sequence[tuple[float, HandPattern]]
"""The patterns that there are, each with its share before anything was seen."""

ONE_HAND_FAULT: PatternMixture = ((0.65, (0.94, 0.01, 0.05)), (0.35, (0.15, 0.01, 0.84)))
"""A fault of one hand, which is the first: a wrong key that stays there, or a hesitation for which
the other hand waits. Own choice, because wrong keys are the commoner; the hundredth keeps what is
odd from being impossible."""
TOGETHER_FAULT: PatternMixture = (
    (0.25, (0.9, 0.05, 0.05)),
    (0.25, (0.05, 0.9, 0.05)),
    (0.25, (0.05, 0.05, 0.9)),
    (0.25, (0.34, 0.33, 0.33)),
)
"""A fault of both together; the right hand is the first. Own choice, because nothing speaks for one
pattern rather than another, so each of the four has a quarter."""


def log_pattern_likelihood(seen: Sequence[float], patterns: PatternMixture) -> float:
    """Log chance of what was seen (failures in the first hand, the second, both)."""
    return log(sum(_pattern_weights(seen, patterns)))


def predict_pattern(seen: Sequence[float], patterns: PatternMixture) -> HandPattern:
    """In which hand the next failure shows, after what was seen."""
    weights = _pattern_weights(seen, patterns)
    total = sum(weights)
    first, second, both = (
        sum(w * pattern[i] for w, (_, pattern) in zip(weights, patterns, strict=True)) / total
        for i in range(3)
    )
    return first, second, both


def _pattern_weights(seen: Sequence[float], patterns: PatternMixture) -> list[float]:
    first, second, both = seen
    return [
        part * exp(first * log(in_first) + second * log(in_second) + both * log(in_both))
        for part, (in_first, in_second, in_both) in patterns
    ]


FAULT_A, FAULT_B = 1.8, 1.2
"""How often a standing fault fails, a Beta: its mean is 0.6, and it is broad. Own choice, because a
fault fails more often than not, and few fail always."""
CLEAN_ALONE_TELLS = 0.7
"""What a clean attempt of a hand alone counts, beside one with both. Own choice, because alone is
easier: a hand that fails in six of ten together and in five alone says so much less by being clean
(the logarithm of a half, over that of two fifths, is three quarters), and often it fails less."""
TOGETHER_SHARE = 0.3
"""Share of the chance of a fault that is one of both hands together only. Own choice, because a
fault of a single hand is the commoner: a little less than the third that each of three explanations
would have."""
CLAIM_FAULT = 0.92
"""How sure it must be that something stands at fault before a place is named. Own choice, because a
false claim sends the pianist to drill what is not broken, and to wait costs a repetition or two. A
fault as sure makes the others likelier, by as much as was expected of all: who has one place that
breaks may well have a second."""
ROUNDS = 3
"""How often it is weighed how many faults there are, and then what that makes of each beat. Own
choice, because each round changes less than the one before."""
FEWEST_MOVES = 2
"""Of a single move it is not certain beforehand that it is at fault: so many at the least."""
MOST_FAULTY = 0.5
"""Nor of a beat: before anything is heard there, a fault is no likelier than this."""
RATE_DIGITS, COUNT_DIGITS, TRIES_DIGITS = 4, 3, 2
"""Decimals to which chances, counts of attempts and the slip rate's own attempts are rounded, so
that what is alike is worked out once. Own choice: finer than any count of repetitions tells."""
MOST_MOVES = 240.0
"""The chance of a fault is shared among no more moves than this: long pieces have more faults. Own
choice: 60 bars of four beats."""


@dataclass(frozen=True, slots=True)
class Posterior:
    """Probabilities, 0 to 1, of the four explanations of one beat; they sum to 1."""

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


class _Logs(NamedTuple):
    """A logarithm for each of the four explanations."""

    healthy: float
    right: float
    left: float
    together: float


def infer_posteriors(
    evidence: Evidence, transitions: Sequence[Transition]
) -> tuple[dict[Fraction, Posterior], SlipRate, float]:
    """The posterior of each beat at which anything failed, and the player's slip rate.

    Beside them, how many faults are to be expected at the other beats. ``transitions`` are all the
    single-hand moves that were looked at. The slip rate is not known: the beats are weighed under
    each of :data:`SLIP_RATES`, and each counts by how well it explains all that was heard. (To
    settle on one rate and go round, rate from faults and faults from rate, ends at one of two
    answers by where it begins: many faults and few slips, or the reverse.)
    """
    hands: dict[Fraction, frozenset[Hands]] = {}
    for transition in transitions:
        beat = transition.to_quarters
        hands[beat] = hands.get(beat, frozenset()) | {transition.hands}
    alike: dict[_Kind, list[Fraction]] = {}
    failed: dict[Fraction, _Kind] = {}
    for beat, whose in hands.items():
        beat_counts = evidence.counts_at(beat)
        kind = _figures_of(beat_counts), whose
        alike.setdefault(kind, []).append(beat)
        if beat_counts.failed > 0.0:
            failed[beat] = kind
    broken = set(failed.values())
    chance, found = fault_prior(len(transitions)), 0.0
    for _ in range(ROUNDS):
        likelier = round(chance * (1.0 + found), RATE_DIGITS)
        weights, kinds = _weigh_under_all_rates(alike, likelier)
        found = sum(len(alike[kind]) * kinds[kind].fault for kind in broken
                    if kinds[kind].fault > CLAIM_FAULT)  # fmt: skip
    rate = sum(weight * slips.mean for weight, slips in zip(weights, SLIP_RATES, strict=True))
    unheard = sum(len(alike[kind]) * one.fault for kind, one in kinds.items() if kind not in broken)
    return {beat: kinds[kind] for beat, kind in failed.items()}, SlipRate.of_mean(rate), unheard


_Kind = tuple[tuple[float, ...], frozenset[Hands]]
"""What was heard of a beat, and which hands have notes there."""


def _weigh_under_all_rates(
    alike: Mapping[_Kind, Sequence[Fraction]], chance: float
) -> tuple[list[float], dict[_Kind, Posterior]]:
    """How likely each of the slip rates is, and the posterior of each kind of beat by all."""
    priors = {kind: _prior(chance, kind[1]) for kind in alike}
    logs, by_rate = [], []
    for slips in SLIP_RATES:
        weighed = {kind: _weigh(kind[0], *_rounded(slips), priors[kind]) for kind in alike}
        heard = sum(len(alike[kind]) * log_heard for kind, (_, log_heard) in weighed.items())
        logs.append(_log_before(slips.mean) + heard)
        by_rate.append(weighed)
    weights = posterior_probabilities([1.0] * len(logs), logs)
    kinds = {kind: _mix(weights, [weighed[kind][0] for weighed in by_rate]) for kind in alike}
    return weights, kinds


def _log_before(rate: float) -> float:
    """Log chance of a slip rate before anything is heard, on the scale of its logarithm: Gamma."""
    return SLIPS_BEFORE * log(rate) - MOVES_BEFORE * rate


def _mix(weights: Sequence[float], posteriors: Sequence[Posterior]) -> Posterior:
    return Posterior(
        sum(weight * one.healthy for weight, one in zip(weights, posteriors, strict=True)),
        sum(weight * one.right for weight, one in zip(weights, posteriors, strict=True)),
        sum(weight * one.left for weight, one in zip(weights, posteriors, strict=True)),
        sum(weight * one.together for weight, one in zip(weights, posteriors, strict=True)),
    )


def fault_prior(moves: int) -> float:
    """Chance, before hearing it, that one of so many moves is at fault: one in all of them."""
    return 1.0 / min(max(moves, FEWEST_MOVES), MOST_MOVES)


def beat_posterior(
    beat_counts: BeatCounts, slip_rate: SlipRate, chance: float, hands: frozenset[Hands]
) -> Posterior:
    """Bayes' rule for one beat, at which these hands have notes.

    ``chance`` is that of one hand's move being at fault, before anything is heard of it.
    """
    return _weigh(_figures_of(beat_counts), *_rounded(slip_rate), _prior(chance, hands))[0]


def _figures_of(beat_counts: BeatCounts) -> tuple[float, ...]:
    """All of a beat's counts that its posterior rests on."""
    late_share = beat_counts.late_share
    figures = (
        beat_counts.together,
        beat_counts.right_failed,
        beat_counts.left_failed,
        beat_counts.both_failed,
        *_attempts_alone(beat_counts.alone[Hand.RIGHT], late_share),
        *_attempts_alone(beat_counts.alone[Hand.LEFT], late_share),
    )
    return tuple([round(x, COUNT_DIGITS) for x in figures])


def _rounded(slip_rate: SlipRate) -> tuple[float, float]:
    return round(slip_rate.a, RATE_DIGITS), round(slip_rate.b, TRIES_DIGITS)


def _attempts_alone(counts: AttemptCounts, late_share: float) -> tuple[float, float]:
    """Failures and attempts of a hand alone, as far as they tell of how this beat fails."""
    clean = max(counts.informative_attempts(late_share) - counts.failed, 0.0)
    return counts.failed, counts.failed + CLEAN_ALONE_TELLS * clean


@lru_cache(maxsize=64)
def _prior(chance: float, hands: frozenset[Hands]) -> Posterior:
    """Before anything is heard. Where one hand moves alone nothing is of both together."""
    right, left = Hands.RIGHT in hands, Hands.LEFT in hands
    total = min(chance * (right + left), MOST_FAULTY)
    together = total * TOGETHER_SHARE * (right and left)
    each = (total - together) / (right + left)
    return Posterior(1.0 - total, each * right, each * left, together)


@lru_cache(maxsize=8192)
def _weigh(key: tuple[float, ...], a: float, b: float, prior: Posterior) -> tuple[Posterior, float]:
    """The posterior, and the log chance of all that was heard by all explanations together."""
    logs = _log_likelihoods(key, a, b)
    weights = (prior.healthy, prior.right, prior.left, prior.together)
    top = max(logs)
    heard = top + log(sum(weight * exp(x - top) for weight, x in zip(weights, logs, strict=True)))
    return Posterior(*posterior_probabilities(weights, logs)), heard


@lru_cache(maxsize=8192)
def _log_likelihoods(key: tuple[float, ...], a: float, b: float) -> _Logs:
    """By each explanation, the log chance of what was heard of a beat."""
    together, right, left, both, right_alone, right_tries, left_alone, left_tries = key
    before = log_beta(a, b)

    def healthy(failed: float, attempts: float) -> float:
        return log_beta(a + failed, b + attempts - failed) - before

    right_all, left_all = together + right_tries, together + left_tries
    right_slips = healthy(right + right_alone, right_all)
    left_slips = healthy(left + left_alone, left_all)
    slipped = right_slips + left_slips
    if both:  # one event: a slip of one hand that made the other wait
        of_right = healthy(right + both + right_alone, right_all) + left_slips
        of_left = right_slips + healthy(left + both + left_alone, left_all)
        slipped = log((exp(of_right) + exp(of_left)) / 2)
    fails, shows = _fault_likelihoods(key)
    return _Logs(
        slipped + shows.healthy,
        fails.right + left_slips + shows.right,
        fails.left + right_slips + shows.left,
        fails.together
        + shows.together
        + healthy(right_alone, right_tries)
        + healthy(left_alone, left_tries),
    )


@lru_cache(maxsize=8192)
def _fault_likelihoods(key: tuple[float, ...]) -> tuple[_Logs, _Logs]:
    """By each explanation: how often a fault fails, and in which hand it shows; as logs.

    Apart from the slips, for only their rate changes from round to round.
    """
    together, right, left, both, right_alone, right_tries, left_alone, left_tries = key

    def faulty(failed: float, attempts: float) -> float:
        return log_beta_binomial(failed, attempts, FAULT_A, FAULT_B)

    fails = _Logs(
        0.0,
        faulty(right + both + right_alone, together + right_tries),
        faulty(left + both + left_alone, together + left_tries),
        faulty(right + left + both, together),
    )
    shows = _Logs(
        log_pattern_likelihood((right + left, 0.0, both), ONE_HAND_FAULT),
        log_pattern_likelihood((right, 0.0, both), ONE_HAND_FAULT),
        log_pattern_likelihood((left, 0.0, both), ONE_HAND_FAULT),
        log_pattern_likelihood((right, left, both), TOGETHER_FAULT),
    )
    return fails, shows


# From posteriors to troubles.

CLAIM_HAND, CLAIM_TOGETHER = 0.73, 0.7
"""How sure, given that, that it is one hand's, or only there where both play together. Own choice:
two failures running in one hand only name it (.74); a wrong hand shows soon in the repair, where it
is clean alone. Both are named after each hand was clean alone three times: what is one hand's after
all is mended in both, and heard alone again where that won't hold."""
MORE_THAN_A_SLIP = 1.2
"""Weight of failures from which a claim may rest on them: one failure, which weighs 1 at the most,
is a slip until it comes again. Own choice: a little more than one."""
SUSPECT = 0.04
"""A place less likely at fault than this is no suspect. Own choice, so that a few repetitions
without a failure clear it."""
KEY_MM = 23.5
"""Width of a white key (165 mm / 7)."""
OCTAVE_SEMITONES = 12
"""An octave, in semitones."""
ALIKE_DIGITS = 3
"""Decimals: suspects whose chances differ by less are alike, and the one that failed more comes
first. Own choice."""
OCTAVE_MM = 165.0
"""An octave on today's pianos, seven white keys."""
EASY = 0.9
"""Share of the tempo asked for, under which it is an easier one. Own choice: two metronome marks
under it."""
OFTEN_LATE = 3
"""So many late arrivals make a reading trouble. Own choice, because twice is still a chance."""
HARD_LEAP_BITS = 2.9
"""Fitts index from which a move counts as a leap. Own choice: a little under an octave (3.0), since
a hand that spans a seventh need not leave its keys."""


@dataclass(frozen=True, slots=True)
class Suspect:
    """A beat at which something may stand at fault."""

    transition: Transition
    """Of the hand, or both, that it most likely is."""
    posterior: Posterior
    failed: float = MORE_THAN_A_SLIP
    """Weight of the repetitions in which it failed."""

    @property
    def is_sure(self) -> bool:
        """Sure enough that something stands at fault here; never by one failure alone."""
        return self.posterior.fault >= CLAIM_FAULT and self.failed >= MORE_THAN_A_SLIP

    @property
    def is_claimed(self) -> bool:
        """Sure enough to be named, place and hand."""
        hands = self.transition.hands
        least = CLAIM_TOGETHER if hands is Hands.TOGETHER else CLAIM_HAND
        return self.is_sure and self.posterior.of(hands) >= least * self.posterior.fault

    @property
    def is_open(self) -> bool:
        """The place is sure, and whose it is not."""
        return self.is_sure and not self.is_claimed


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """What the evidence comes to."""

    troubles: tuple[Trouble, ...]
    """Named, the surest first; then places whose hand is still open."""
    suspects: tuple[Suspect, ...]
    """Everything above :data:`SUSPECT`, named or not, the likeliest first."""
    slip_rate: SlipRate
    unheard: float = 0.0
    """How many more places are to be expected at fault, though nothing failed there yet."""


def fitts_bits(semitones: float) -> float:
    """Fitts index of difficulty of a move: log2(A / W + 1) (ISO 9241-411's form).

    A is the distance along the keyboard (an octave is 165 mm), W the width of a white key.
    """
    return log2(abs(semitones) / OCTAVE_SEMITONES * OCTAVE_MM / KEY_MM + 1)


def diagnose(evidence: Evidence, practice_map: PracticeMap) -> Diagnosis:
    """Troubles and suspects in the whole window, from all that was heard."""
    posteriors, slip_rate, unheard = infer_posteriors(evidence, practice_map.transitions)
    moves = {t.to_quarters: t for t in practice_map.transitions if t.to_quarters in posteriors}
    suspects = sorted(
        (
            Suspect(
                replace(moves[beat], hands=posterior.best),
                posterior,
                evidence.counts_at(beat).failed,
            )
            for beat, posterior in posteriors.items()
            if posterior.fault >= SUSPECT
        ),
        key=lambda s: (
            -round(s.posterior.fault, ALIKE_DIGITS),
            -evidence.counts_at(s.transition.to_quarters).failures(s.transition.hands),
            s.transition.to_quarters,
        ),
    )
    named = [describe_trouble(s, evidence, practice_map) for s in suspects if s.is_claimed]
    opened = [describe_open(s, evidence, practice_map) for s in suspects if s.is_open]
    return Diagnosis((*named, *opened), tuple(suspects), slip_rate, unheard)


def describe_open(suspect: Suspect, evidence: Evidence, practice_map: PracticeMap) -> Trouble:
    """A place that is sure, and whose it is not: each hand with its chance."""
    move = replace(suspect.transition, hands=Hands.TOGETHER)
    told = describe_trouble(replace(suspect, transition=move), evidence, practice_map)
    chances = open_hand_words(
        {hands: suspect.posterior.of(hands) / suspect.posterior.fault for hands in Hands}
    )
    return replace(
        told,
        place=way_words(practice_map.score, move),
        evidence=f"{told.evidence}; {chances}",
        open_hand=True,
    )


def describe_trouble(suspect: Suspect, evidence: Evidence, practice_map: PracticeMap) -> Trouble:
    """A suspect as the pianist is told of it."""
    transition = suspect.transition
    moves = evidence.counts_at(transition.to_quarters).recent_attempts(transition.hands)
    return Trouble(
        transition=transition,
        onset_quarters=_worst_onset(moves, transition),
        kind=_trouble_kind(transition, moves, practice_map),
        sure=suspect.posterior.fault,
        evidence=evidence_words(
            moves, arrival_words(practice_map.score, transition), transition.hands
        ),
        place=move_words(practice_map.score, transition),
    )


def _worst_onset(moves: list[MoveAttempt], transition: Transition) -> Fraction:
    counts: dict[Fraction, int] = {}
    for move in moves:
        if move.failed:
            counts[move.onset_quarters] = counts.get(move.onset_quarters, 0) + 1
    return max(counts, key=lambda onset: (counts[onset], -onset), default=transition.to_quarters)


def _trouble_kind(
    transition: Transition, moves: list[MoveAttempt], practice_map: PracticeMap
) -> TroubleKind:
    if transition.hands is Hands.TOGETHER:
        return TroubleKind.TOGETHER_ONLY
    failed = [move for move in moves if move.failed]
    wrong = sum(move.outcome is Outcome.WRONG for move in failed)
    late = sum(move.outcome is Outcome.LATE for move in failed)
    onset = _worst_onset(moves, transition)
    if wrong > late and leap_bits(practice_map, onset, transition.hands) >= HARD_LEAP_BITS:
        return TroubleKind.REACH
    # Reading does not get better with more time: late with right keys, and at easy tempi too.
    slow = [move for move in failed if move.ease < EASY and move.outcome is Outcome.LATE]
    if late >= OFTEN_LATE and not wrong and slow:
        return TroubleKind.READING
    return TroubleKind.ONE_HAND


def leap_bits(practice_map: PracticeMap, onset: Fraction, hands: Hands) -> float:
    """Fitts index of a hand's move to an onset, from the middle of what it struck before."""
    before = practice_map.onset_before(onset, hands)
    if before is None:
        return 0.0
    return fitts_bits(_middle(practice_map, onset, hands) - _middle(practice_map, before, hands))


def _middle(practice_map: PracticeMap, onset: Fraction, hands: Hands) -> float:
    pitches = [note.pitch for note in practice_map.notes_at(onset, hands)]
    return (min(pitches) + max(pitches)) / 2 if pitches else 0.0
