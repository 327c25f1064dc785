"""From posteriors to troubles: which is claimed, which suspected, and which kind (Fitts 1954)."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from math import log2

from coach.coaching.diagnosis.evidence import Evidence, MoveAttempt
from coach.coaching.diagnosis.trouble_model import Posterior, SlipRate, infer_posteriors
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
from coach.score.model import Hands
from coach.score.window import Transition

CLAIM_FAULT = 0.92
"""How sure it must be that something stands at fault before a place is named. Own choice, because a
false claim sends the pianist to drill what is not broken, and to wait costs a repetition or two."""
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
