"""Which repetition tells most for the time it takes, while the trouble is still looked for.

Each candidate (the whole window again; a suspect's surroundings in one hand or in both) is worth
the bits that it is expected to tell about every beat in it, divided by its length. With one place
in doubt that cuts the window around it, with the hand in doubt it sets the hands apart, and with
nothing in doubt it hears the whole again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from coach.coaching.belief import (
    FAULT_A,
    FAULT_B,
    Belief,
    Slips,
    belief_of,
    chance_of_fault,
)
from coach.coaching.diagnosis import Diagnosis, Suspect
from coach.coaching.evidence import BeatTally, Evidence
from coach.coaching.places import Places
from coach.coaching.statistics import information_bits
from coach.score.model import Hands
from coach.score.window import Transition, Window

PAUSE_BEATS = 2.0
"""What a repetition costs besides its own beats: breath, hands in place, count-in."""
APART_IS_WORTH = 1.5
"""A hand alone is also what a trouble is drilled with: its repetitions are not lost."""
NAMING_IS_WORTH = 0.6
"""Bits that it is worth to hear a likely fault once more, so that it can be named."""
LATE_WINDOWS = ((1, 0), (1, 1), (3, 0), (3, 1))
"""Beats of run-up and beats played on, for a move that fails by lateness: with too few notes
around it a hesitation can't be told from the tempo."""
MOST_SUSPECTS = 3
"""How many suspects' surroundings are weighed."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """Something that could be asked for."""

    window: Window
    suspect: Suspect | None
    """Whose surroundings they are; None for the whole window."""
    bits_per_beat: float


def choose(
    diagnosis: Diagnosis,
    evidence: Evidence,
    places: Places,
    whole: Window,
    passed_over: Sequence[Window] = (),
) -> Candidate:
    """The candidate that tells most for its time; ``passed_over`` are not to be given now."""
    open_ones = [s for s in diagnosis.suspects if not s.is_claimed and s.belief.fault > 0.1]
    windows: list[tuple[Window, Suspect | None]] = [(whole, None)]
    for suspect in open_ones[:MOST_SUSPECTS]:
        late = _late_share(evidence, suspect.transition)
        shapes = LATE_WINDOWS if late > 0.0 else LATE_WINDOWS[:1]
        for hands in _hands_to_try(suspect, whole):
            for shape in shapes:
                windows.append((places.around(suspect.transition, hands, *shape), suspect))
    rest = _rest_bits(diagnosis, evidence, places, whole)
    weighed = [
        Candidate(window, suspect, _worth(window, diagnosis, evidence, places, whole, rest))
        for window, suspect in windows
        if window not in passed_over
    ]
    return max(weighed, key=lambda c: c.bits_per_beat, default=Candidate(whole, None, 0.0))


def _hands_to_try(suspect: Suspect, whole: Window) -> list[Hands]:
    if whole.hands is not Hands.TOGETHER:
        return [whole.hands]
    belief = suspect.belief
    first = Hands.RIGHT if belief.right >= belief.left else Hands.LEFT
    return [first, Hands.LEFT if first is Hands.RIGHT else Hands.RIGHT, Hands.TOGETHER]


def _worth(
    window: Window,
    diagnosis: Diagnosis,
    evidence: Evidence,
    places: Places,
    whole: Window,
    rest: float,
) -> float:
    told = rest if window == whole else 0.0
    for suspect in diagnosis.suspects:
        if not suspect.is_claimed and _makes(window, suspect, places):
            heard = _heard(suspect, window, evidence, places)
            told += bits(suspect.belief, window.hands, diagnosis.slips, heard)
            told += NAMING_IS_WORTH * _chance_to_name(suspect, window.hands) * heard
    if window.hands is not whole.hands:
        told *= APART_IS_WORTH
    return told / (places.beats(window) + PAUSE_BEATS)


def _makes(window: Window, suspect: Suspect, places: Places) -> bool:
    """Whether playing a window makes the suspected move: arrives there, and not from nowhere."""
    move = _any_hand(suspect, window)
    arrives = bool(places.onsets_in(move)) and places.covers(window, move)
    return arrives and not places.is_entry(move, window)


def _heard(suspect: Suspect, window: Window, evidence: Evidence, places: Places) -> float:
    """The chance that the fault, if it shows as it did, would be heard in this window."""
    late = _late_share(evidence, suspect.transition)
    if late == 0.0:
        return 1.0
    quarter_ms = 60_000 / places.excerpt.qpm
    hears = places.hears_late(window, _any_hand(suspect, window), quarter_ms)
    return 1.0 - late * (1.0 - hears)


def _late_share(evidence: Evidence, transition: Transition) -> float:
    return evidence.tally(transition.to_quarters).late_share


def _any_hand(suspect: Suspect, window: Window) -> Transition:
    t = suspect.transition
    return Transition(window.hands, t.from_quarters, t.to_quarters)


def _rest_bits(diagnosis: Diagnosis, evidence: Evidence, places: Places, whole: Window) -> float:
    """What the whole window would tell about all the moves that nothing speaks against yet."""
    inside = [t for t in places.transitions if places.covers(whole, t)]
    suspected = {s.transition.to_quarters for s in diagnosis.suspects}
    quiet = [t.to_quarters for t in inside if t.to_quarters not in suspected]
    if not quiet:
        return 0.0
    tries = [evidence.beats[q].together if q in evidence.beats else 0.0 for q in quiet]
    typical = BeatTally(together=sum(tries) / len(tries))
    hands = frozenset({Hands.RIGHT, Hands.LEFT})
    belief = belief_of(typical, diagnosis.slips, chance_of_fault(len(places.transitions)), hands)
    return bits(belief, whole.hands, diagnosis.slips) * len(quiet) / 2


def _chance_to_name(suspect: Suspect, hands: Hands) -> float:
    """Chance that one repetition shows a likely fault again, in the hands that it would be in."""
    belief = suspect.belief
    if belief.fault < 0.5:
        return 0.0
    own = belief.of(hands) if hands is not Hands.TOGETHER else belief.together
    return own * FAULT_A / (FAULT_A + FAULT_B)


def bits(belief: Belief, hands: Hands, slips: Slips, heard: float = 1.0) -> float:
    """What playing a beat once with these hands is expected to tell about it, in bits.

    ``heard`` is the chance that the fault would be heard where it shows.
    """
    prior = [belief.healthy, belief.right, belief.left, belief.together]
    rounded = tuple(round(p, 3) for p in prior)
    return _bits(rounded, hands, round(slips.rate, 4), round(heard, 2))


@lru_cache(maxsize=4096)
def _bits(prior: tuple[float, ...], hands: Hands, slip: float, heard: float) -> float:
    fails = heard * FAULT_A / (FAULT_A + FAULT_B)
    if hands is not Hands.TOGETHER:
        own = 1 if hands is Hands.RIGHT else 2
        chances = [fails if h == own else slip for h in range(4)]
        return information_bits(prior, [(c, 1 - c) for c in chances])
    clean = (1 - slip) ** 2
    healthy = (slip, slip, 0.0, 1 - 2 * slip)
    right = (0.8 * fails, slip, 0.2 * fails, 1 - fails - slip)
    left = (slip, 0.8 * fails, 0.2 * fails, 1 - fails - slip)
    third = fails * clean / 3
    return information_bits(prior, [healthy, right, left, (third, third, third, 1 - 3 * third)])
