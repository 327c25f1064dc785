"""What one repetition is expected to tell about one beat, in bits.

Which repetition tells most for the time it takes, while the trouble is still looked for.

Each one that could be asked for (the whole window again; a suspect's surroundings in one hand or
in both) is worth the bits that it is expected to tell about every beat in it, divided by its
length. With one place in doubt that cuts the window around it, with the hand in doubt it sets the
hands apart, and with nothing in doubt it hears the whole again.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

from coach.coaching.diagnosis.evidence import BeatTally, Evidence
from coach.coaching.diagnosis.statistics import information_bits
from coach.coaching.diagnosis.trouble_model import (
    FAULT_A,
    FAULT_B,
    ONE_HAND,
    TOGETHER,
    Belief,
    Slips,
    belief_of,
    chance_of_fault,
    expected,
)
from coach.coaching.diagnosis.troubles import CLAIM_FAULT, Diagnosis, Suspect
from coach.coaching.windows import SINGLE, Places
from coach.score.model import Hands
from coach.score.window import Transition, Window

FAILS = FAULT_A / (FAULT_A + FAULT_B)
"""How often a standing fault is expected to fail."""


def bits(belief: Belief, hands: Hands, slips: Slips, heard: float, tally: BeatTally) -> float:
    """What playing a beat once with these hands is expected to tell about it, in bits.

    ``heard`` is the chance that the fault would be heard where it shows; ``tally``, what was heard
    of the beat, tells how it will show: one that always shows in both hands at once does not tell,
    while both play, whose it is.
    """
    prior = [belief.healthy, belief.right, belief.left, belief.together]
    rounded = tuple(round(p, 3) for p in prior)
    if hands is not Hands.TOGETHER:
        return _bits_alone(rounded, hands, round(slips.rate, 4), round(heard, 2))
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
LEAST_SUSPECTED = 0.1
"""A place that is less likely at fault is not probed."""


@dataclass(frozen=True, slots=True)
class Probe:
    """A suspect's surroundings, to be heard for themselves."""

    suspect: Suspect
    window: Window


@dataclass(frozen=True, slots=True)
class Choice:
    """What could be asked for as things stand after a repetition, and what it is worth."""

    diagnosis: Diagnosis
    evidence: Evidence
    places: Places
    whole: Window
    """The task's window."""

    def best(self, passed_over: Window | None) -> Probe | None:
        """The probe that tells most for its time; None where the whole tells as much.

        ``passed_over`` is not to be given now.
        """
        probes = [probe for probe in self._probes() if probe.window != passed_over]
        if not probes:
            return None
        best = max(probes, key=lambda probe: self._worth(probe.window))
        if self.whole != passed_over and self._worth(self.whole) >= self._worth(best.window):
            return None
        return best

    def alone(self, suspect: Suspect, hand: Hands) -> Probe:
        """The shortest probe in which one hand would show best that the trouble is its own."""
        around = [self.places.around(suspect.transition, hand, *shape) for shape in LATE_WINDOWS]
        return Probe(suspect, max(around, key=lambda window: self._heard(suspect, window)))

    def _probes(self) -> Iterator[Probe]:
        suspects = self.diagnosis.suspects
        doubtful = [s for s in suspects if not s.is_claimed and s.belief.fault > LEAST_SUSPECTED]
        for suspect in doubtful[:MOST_SUSPECTS]:
            late = self._tally(suspect).late_share > 0.0
            for hands in self._hands_to_try(suspect):
                for shape in LATE_WINDOWS if late else LATE_WINDOWS[:1]:
                    yield Probe(suspect, self.places.around(suspect.transition, hands, *shape))

    def _hands_to_try(self, suspect: Suspect) -> list[Hands]:
        if self.whole.hands is not Hands.TOGETHER:
            return [self.whole.hands]
        return [*sorted(SINGLE, key=suspect.belief.of, reverse=True), Hands.TOGETHER]

    def _worth(self, window: Window) -> float:
        told = self._quiet_bits() if window == self.whole else 0.0
        for suspect in self.diagnosis.suspects:
            if not suspect.is_claimed and self._makes(window, suspect):
                heard = self._heard(suspect, window)
                told += self._bits(suspect, window.hands, heard)
                told += NAMING_IS_WORTH * _chance_to_name(suspect, window.hands) * heard
        if window.hands is not self.whole.hands:
            told *= APART_IS_WORTH
        return told / (self.places.beats(window) + PAUSE_BEATS)

    def _makes(self, window: Window, suspect: Suspect) -> bool:
        """Whether playing a window makes the suspected move: arrives there, not from nowhere."""
        move = _made_by(window, suspect)
        arrives = bool(self.places.onsets_in(move)) and self.places.covers(window, move)
        return arrives and not self.places.is_entry(move, window)

    def _heard(self, suspect: Suspect, window: Window) -> float:
        """The chance that the fault, if it shows as it did, would be heard in this window."""
        late = self._tally(suspect).late_share
        if late == 0.0:
            return 1.0
        quarter_ms = 60_000 / self.places.excerpt.qpm
        hears = self.places.hears_late(window, _made_by(window, suspect), quarter_ms)
        return 1.0 - late * (1.0 - hears)

    def _bits(self, suspect: Suspect, hands: Hands, heard: float) -> float:
        return bits(suspect.belief, hands, self.diagnosis.slips, heard, self._tally(suspect))

    def _quiet_bits(self) -> float:
        """What the whole window would tell about all the moves that nothing speaks against yet."""
        everything, slips = self.places.transitions, self.diagnosis.slips
        suspected = {suspect.transition.to_quarters for suspect in self.diagnosis.suspects}
        quiet = [
            self.evidence.tally(move.to_quarters)
            for move in everything
            if self.places.covers(self.whole, move) and move.to_quarters not in suspected
        ]
        if not quiet:
            return 0.0
        typical = BeatTally(together=sum(tally.together for tally in quiet) / len(quiet))
        belief = belief_of(typical, slips, chance_of_fault(len(everything)), frozenset(SINGLE))
        return bits(belief, self.whole.hands, slips, 1.0, typical) * len(quiet) / 2

    def _tally(self, suspect: Suspect) -> BeatTally:
        return self.evidence.tally(suspect.transition.to_quarters)


def _made_by(window: Window, suspect: Suspect) -> Transition:
    """The suspected move, as the window's hands make it."""
    return replace(suspect.transition, hands=window.hands)


def _chance_to_name(suspect: Suspect, hands: Hands) -> float:
    """Chance that one repetition shows a likely fault again, in the hands that it would be in."""
    belief = suspect.belief
    if belief.fault < 0.5 or (hands is Hands.TOGETHER and belief.fault >= CLAIM_FAULT):
        return 0.0  # that it is one is known: what is left to learn is whose
    return belief.of(hands) * FAILS
