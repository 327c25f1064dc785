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
from coach.coaching.diagnosis import CLAIM_FAULT, Diagnosis, Suspect
from coach.coaching.evidence import BeatTally, Evidence
from coach.coaching.places import Places
from coach.coaching.showing import ONE_HAND, TOGETHER, expected
from coach.coaching.statistics import information_bits
from coach.score.model import Hands
from coach.score.window import Transition, Window

FAILS = FAULT_A / (FAULT_A + FAULT_B)
"""How often a standing fault is expected to fail."""
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


def alone(suspect: Suspect, hand: Hands, evidence: Evidence, places: Places) -> Window:
    """The shortest window in which one hand would show best that the trouble is its own."""
    windows = [places.around(suspect.transition, hand, *shape) for shape in LATE_WINDOWS]
    return max(windows, key=lambda window: _heard(suspect, window, evidence, places))


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
            tally = evidence.tally(suspect.transition.to_quarters)
            told += bits(suspect.belief, window.hands, diagnosis.slips, heard, tally)
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
    if belief.fault < 0.5 or (hands is Hands.TOGETHER and belief.fault >= CLAIM_FAULT):
        return 0.0  # that it is one is known: what is left to learn is whose
    return belief.of(hands) * FAILS


def bits(
    belief: Belief,
    hands: Hands,
    slips: Slips,
    heard: float = 1.0,
    tally: BeatTally | None = None,
) -> float:
    """What playing a beat once with these hands is expected to tell about it, in bits.

    ``heard`` is the chance that the fault would be heard where it shows; ``tally``, what was heard
    of the beat, tells how it will show: one that always shows in both hands at once does not tell,
    while both play, whose it is.
    """
    prior = [belief.healthy, belief.right, belief.left, belief.together]
    rounded = tuple(round(p, 3) for p in prior)
    if hands is not Hands.TOGETHER:
        return _bits_alone(rounded, hands, round(slips.rate, 4), round(heard, 2))
    tally = tally or BeatTally()
    seen = tuple(round(x, 1) for x in (tally.right_failed, tally.left_failed, tally.both_failed))
    return _bits_together(rounded, seen, round(slips.rate, 4), round(heard, 2))


@lru_cache(maxsize=4096)
def _bits_alone(prior: tuple[float, ...], hands: Hands, slip: float, heard: float) -> float:
    own = 1 if hands is Hands.RIGHT else 2
    chances = [heard * FAILS if h == own else slip for h in range(4)]
    return information_bits(prior, [(c, 1 - c) for c in chances])


@lru_cache(maxsize=4096)
def _bits_together(
    prior: tuple[float, ...], seen: tuple[float, ...], slip: float, heard: float
) -> float:
    fails = heard * FAILS
    right, left, both = seen
    own, other, at_once = expected((right, 0.0, both), ONE_HAND)
    of_right = (fails * own, max(fails * other, slip), fails * at_once)
    own, other, at_once = expected((left, 0.0, both), ONE_HAND)
    of_left = (max(fails * other, slip), fails * own, fails * at_once)
    of_both = tuple(fails * share for share in expected(seen, TOGETHER))
    shown = ((slip, slip, 0.0), of_right, of_left, of_both)
    return information_bits(prior, [(*one, max(1.0 - sum(one), 0.0)) for one in shown])
