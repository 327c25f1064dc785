"""From beliefs to troubles: what is claimed, what is only suspected, and what sort it is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from math import log2

from coach.coaching.diagnosis.evidence import Evidence, Move
from coach.coaching.diagnosis.trouble_model import Belief, Slips, beliefs
from coach.coaching.model import Trouble, TroubleKind
from coach.coaching.windows import Places
from coach.coaching.wording import arrival_words, evidence_words, move_words
from coach.judging.model import Outcome
from coach.score.model import Hands
from coach.score.window import Transition

CLAIM_FAULT = 0.92
"""How sure it must be that something stands at fault before a place is named."""
CLAIM_HANDS = 0.8
"""How sure, given that, whose it is."""
SUSPECT = 0.04
"""Below this a place is not looked into."""
KEY_MM = 23.5
"""Width of a white key; an octave is 165 mm."""
OCTAVE_MM = 165.0
HARD_LEAP_BITS = 2.9
"""Fitts index from which a move counts as a leap: about an octave (checked on 165 mm: 3.0)."""


@dataclass(frozen=True, slots=True)
class Suspect:
    """A beat at which something may stand at fault."""

    transition: Transition
    """Of the hand, or both, that it most likely is."""
    belief: Belief

    @property
    def is_claimed(self) -> bool:
        """Sure enough to be named, place and hand."""
        whose = self.belief.of(self.transition.hands)
        return self.belief.fault >= CLAIM_FAULT and whose >= CLAIM_HANDS * self.belief.fault


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """What the evidence comes to."""

    troubles: tuple[Trouble, ...]
    """Named, the surest first."""
    suspects: tuple[Suspect, ...]
    """Everything above :data:`SUSPECT`, named or not, the likeliest first."""
    slips: Slips


def fitts_bits(semitones: float) -> float:
    """Fitts index of difficulty of a move: log2(A / W + 1) (ISO 9241-411's form).

    A is the distance along the keyboard (an octave is 165 mm), W the width of a white key.
    """
    return log2(abs(semitones) / 12 * OCTAVE_MM / KEY_MM + 1)


def diagnose(evidence: Evidence, places: Places) -> Diagnosis:
    """Troubles and suspects in the whole window, from all that was heard."""
    believed, slips = beliefs(evidence, places.transitions)
    moves = {t.to_quarters: t for t in places.transitions if t.to_quarters in believed}
    suspects = sorted(
        (
            Suspect(replace(moves[beat], hands=belief.best), belief)
            for beat, belief in believed.items()
            if belief.fault >= SUSPECT
        ),
        key=lambda s: (
            -round(s.belief.fault, 3),
            -evidence.tally(s.transition.to_quarters).failures(s.transition.hands),
            s.transition.to_quarters,
        ),
    )
    named = tuple(trouble(s, evidence, places) for s in suspects if s.is_claimed)
    return Diagnosis(named, tuple(suspects), slips)


def trouble(suspect: Suspect, evidence: Evidence, places: Places) -> Trouble:
    """A suspect as the pianist is told of it."""
    transition = suspect.transition
    moves = evidence.tally(transition.to_quarters).kept_moves(transition.hands)
    return Trouble(
        transition=transition,
        onset_quarters=_worst_onset(moves, transition),
        kind=_kind(transition, moves, places),
        sure=suspect.belief.fault,
        evidence=evidence_words(moves, arrival_words(places.score, transition), transition.hands),
        place=move_words(places.score, transition),
    )


def _worst_onset(moves: list[Move], transition: Transition) -> Fraction:
    counts: dict[Fraction, int] = {}
    for move in moves:
        if move.failed:
            counts[move.onset_quarters] = counts.get(move.onset_quarters, 0) + 1
    return max(counts, key=lambda onset: (counts[onset], -onset), default=transition.to_quarters)


def _kind(transition: Transition, moves: list[Move], places: Places) -> TroubleKind:
    if transition.hands is Hands.TOGETHER:
        return TroubleKind.TOGETHER_ONLY
    failed = [move for move in moves if move.failed]
    wrong = sum(move.outcome is Outcome.WRONG for move in failed)
    late = sum(move.outcome is Outcome.LATE for move in failed)
    onset = _worst_onset(moves, transition)
    if wrong > late and leap_bits(places, onset, transition.hands) >= HARD_LEAP_BITS:
        return TroubleKind.REACH
    # Reading does not get better with more time: late with right keys, and at easy tempi too.
    slow = [move for move in failed if move.ease < 0.9 and move.outcome is Outcome.LATE]
    if late >= 3 and not wrong and slow:
        return TroubleKind.READING
    return TroubleKind.ONE_HAND


def leap_bits(places: Places, onset: Fraction, hands: Hands) -> float:
    """Fitts index of a hand's move to an onset, from the middle of what it struck before."""
    before = places.onset_before(onset, hands)
    if before is None:
        return 0.0
    return fitts_bits(_middle(places, onset, hands) - _middle(places, before, hands))


def _middle(places: Places, onset: Fraction, hands: Hands) -> float:
    pitches = [note.pitch for note in places.notes_at(onset, hands)]
    return (min(pitches) + max(pitches)) / 2 if pitches else 0.0
