"""Which repetition tells most for the time it takes: expected information gain (Lindley 1956).

While a trouble is still looked for, each repetition that could be asked for (the whole window
again; a suspect's surroundings in one hand or in both) is worth the bits that it is expected to
tell about every beat in it, divided by its length. With one place in doubt that cuts the window
around it, with the hand in doubt it sets the hands apart, and with nothing in doubt it hears the
whole again.
"""

from __future__ import annotations

from collections.abc import Iterator, Set
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache

from coach.coaching.diagnosis.evidence import BeatCounts, Evidence
from coach.coaching.diagnosis.statistics import information_bits
from coach.coaching.diagnosis.troubles import (
    CLAIM_FAULT,
    CLEAN_ALONE_TELLS,
    FAULT_A,
    FAULT_B,
    ONE_HAND_FAULT,
    TOGETHER_FAULT,
    Diagnosis,
    Posterior,
    SlipRate,
    Suspect,
    beat_posterior,
    fault_prior,
    predict_pattern,
)
from coach.coaching.windows import SINGLE, PracticeMap
from coach.score.model import Hands
from coach.score.window import Transition, Window

FAILS = FAULT_A / (FAULT_A + FAULT_B)
"""How often a standing fault is expected to fail: the mean of its Beta."""
FAILS_ALONE = FAILS * CLEAN_ALONE_TELLS
"""The same, where its hand plays alone: that is easier."""


def expected_bits(
    posterior: Posterior, hands: Hands, slip_rate: SlipRate, audible: float, beat_counts: BeatCounts
) -> float:
    """What playing a beat once with these hands is expected to tell about it, in bits.

    ``audible`` is the chance that the fault would be heard where it shows. ``beat_counts`` tell how
    it will show: one that always shows in both hands at once does not tell, while both play, whose
    it is.
    """
    prior = [posterior.healthy, posterior.right, posterior.left, posterior.together]
    rounded = tuple(round(p, CHANCE_DIGITS) for p in prior)
    slips, heard = round(slip_rate.mean, RATE_DIGITS), round(audible, AUDIBLE_DIGITS)
    if hands is not Hands.TOGETHER:
        return _expected_bits_alone(rounded, hands, slips, heard)
    seen = tuple(
        round(x, COUNT_DIGITS)
        for x in (beat_counts.right_failed, beat_counts.left_failed, beat_counts.both_failed)
    )
    return _expected_bits_together(rounded, seen, slips, heard)


CHANCE_DIGITS, RATE_DIGITS, AUDIBLE_DIGITS, COUNT_DIGITS = 3, 4, 2, 1
"""Decimals to which a probe's figures are rounded, so that what is alike is worked out once. Own
choice: a thousandth of a chance chooses no other probe."""


@lru_cache(maxsize=4096)
def _expected_bits_alone(
    prior: tuple[float, ...], hands: Hands, slip: float, audible: float
) -> float:
    own = 1 if hands is Hands.RIGHT else 2
    chances = [audible * FAILS_ALONE if h == own else slip for h in range(4)]
    return information_bits(prior, [(c, 1 - c) for c in chances])


@lru_cache(maxsize=4096)
def _expected_bits_together(
    prior: tuple[float, ...], seen: tuple[float, ...], slip: float, audible: float
) -> float:
    fails = audible * FAILS
    right, left, both = seen
    own, other, at_once = predict_pattern((right, 0.0, both), ONE_HAND_FAULT)
    of_right = (fails * own, max(fails * other, slip), fails * at_once)
    own, other, at_once = predict_pattern((left, 0.0, both), ONE_HAND_FAULT)
    of_left = (max(fails * other, slip), fails * own, fails * at_once)
    of_both = tuple(fails * share for share in predict_pattern(seen, TOGETHER_FAULT))
    shown = ((slip, slip, 0.0), of_right, of_left, of_both)
    return information_bits(prior, [(*one, max(1.0 - sum(one), 0.0)) for one in shown])


PAUSE_BEATS = 2.0
"""What a repetition costs besides its own beats: breath, hands in place, count-in. Own choice."""
NAMING_IS_WORTH = 0.6
"""Bits that it is worth to hear a likely fault once more, so that it can be named. Own choice,
because the repair begins only then; less than one bit, which is what the answer to an even doubt
tells."""
RUN_UPS = (1, 3)
"""Beats of run-up. With too few notes before it a hesitation can't be told from the tempo, so a
move that fails by lateness may get the longer one. Own choice: three beats show a tempo."""
PLAYED_ON = 1
"""Beats played on after the move: a note left out at the very end is no more than a stop."""
QUIET_SHARE = 0.5
"""What the bits of moves that nothing speaks against count for. Own choice, because most of them
are healthy, and to hear so is worth less than to find what breaks."""
MOST_SUSPECTS = 3
"""How many suspects' surroundings are weighed. Own choice, because they come the likeliest first,
and each costs time to weigh."""
LIKELY_FAULT = 0.5
"""From here on a fault is worth naming. Own choice: it is likelier than not."""
LEAST_SUSPECTED = 0.1
"""A place that is less likely at fault than this is not probed. Own choice, because so unlikely a
fault is mostly a slip."""


@dataclass(frozen=True, slots=True)
class TroubleProbe:
    """A suspect's surroundings, to be heard for themselves."""

    suspect: Suspect
    window: Window

    @property
    def transition(self) -> Transition:
        """The move that is looked into."""
        return self.suspect.transition

    @property
    def question(self) -> tuple[Fraction, Hands]:
        """What it asks, from however far before: does this beat break in these hands?"""
        return self.transition.to_quarters, self.window.hands


@dataclass(frozen=True, slots=True)
class ProbeSelection:
    """What could be asked for as things stand after a repetition, and what it is worth."""

    diagnosis: Diagnosis
    evidence: Evidence
    practice_map: PracticeMap
    whole: Window
    """The task's window."""

    def choose_best(
        self, passed_over: Window | None, gone: Set[tuple[Fraction, Hands]] = frozenset()
    ) -> TroubleProbe | None:
        """The probe that tells most for its time; None where the whole tells as much.

        ``passed_over`` is not to be given now, nor what asks a question of ``gone``.
        """
        all_probes = (one for one in self._possible_probes() if one.window != passed_over)
        probes = [probe for probe in all_probes if probe.question not in gone]
        if not probes:
            return None
        best = max(probes, key=lambda probe: self._worth(probe.window))
        if self.whole != passed_over and self._worth(self.whole) >= self._worth(best.window):
            return None
        return best

    def probe_alone(self, suspect: Suspect, hand: Hands) -> TroubleProbe:
        """The shortest probe in which one hand would show best that the trouble is its own."""
        around = [self._surroundings(suspect, hand, run_up) for run_up in RUN_UPS]
        return TroubleProbe(suspect, max(around, key=lambda window: self._audible(suspect, window)))

    def _possible_probes(self) -> Iterator[TroubleProbe]:
        suspects = self.diagnosis.suspects
        doubtful = [s for s in suspects if not s.is_claimed and s.posterior.fault > LEAST_SUSPECTED]
        for suspect in doubtful[:MOST_SUSPECTS]:
            late = self._counts_of(suspect).late_share > 0.0
            for hands in self._hands_to_try(suspect):
                for run_up in RUN_UPS if late else RUN_UPS[:1]:
                    yield TroubleProbe(suspect, self._surroundings(suspect, hands, run_up))

    def _surroundings(self, suspect: Suspect, hands: Hands, run_up_beats: int) -> Window:
        return self.practice_map.around(suspect.transition, hands, run_up_beats, PLAYED_ON)

    def _hands_to_try(self, suspect: Suspect) -> list[Hands]:
        if self.whole.hands is not Hands.TOGETHER:
            return [self.whole.hands]
        return [*sorted(SINGLE, key=suspect.posterior.of, reverse=True), Hands.TOGETHER]

    def _worth(self, window: Window) -> float:
        gained_bits = self._quiet_bits() if window == self.whole else 0.0
        for suspect in self.diagnosis.suspects:
            if not suspect.is_claimed and self._makes(window, suspect):
                audible = self._audible(suspect, window)
                gained_bits += self._bits(suspect, window.hands, audible)
                gained_bits += NAMING_IS_WORTH * _chance_to_name(suspect, window.hands) * audible
        return gained_bits / (self.practice_map.beats(window) + PAUSE_BEATS)

    def _makes(self, window: Window, suspect: Suspect) -> bool:
        """Whether playing a window makes the suspected move: arrives there, not from nowhere."""
        move = _move_with_hands_of(window, suspect)
        arrives = bool(self.practice_map.onsets_in(move)) and self.practice_map.covers(window, move)
        return arrives and not self.practice_map.is_entry(move, window)

    def _audible(self, suspect: Suspect, window: Window) -> float:
        """The chance that the fault, if it shows as it did, would be heard in this window."""
        late = self._counts_of(suspect).late_share
        if late == 0.0:
            return 1.0
        quarter_ms = 60_000 / self.practice_map.excerpt.qpm
        hears = self.practice_map.hears_late(
            window, _move_with_hands_of(window, suspect), quarter_ms
        )
        return 1.0 - late * (1.0 - hears)

    def _bits(self, suspect: Suspect, hands: Hands, audible: float) -> float:
        return expected_bits(
            suspect.posterior, hands, self.diagnosis.slip_rate, audible, self._counts_of(suspect)
        )

    def _quiet_bits(self) -> float:
        """What the whole window would tell about all the moves that nothing speaks against yet."""
        everything, slip_rate = self.practice_map.transitions, self.diagnosis.slip_rate
        suspected = {suspect.transition.to_quarters for suspect in self.diagnosis.suspects}
        quiet = [
            self.evidence.counts_at(move.to_quarters)
            for move in everything
            if self.practice_map.covers(self.whole, move) and move.to_quarters not in suspected
        ]
        if not quiet:
            return 0.0
        typical = BeatCounts(
            together=sum(beat_counts.together for beat_counts in quiet) / len(quiet)
        )
        posterior = beat_posterior(
            typical, slip_rate, fault_prior(len(everything)), frozenset(SINGLE)
        )
        return (
            expected_bits(posterior, self.whole.hands, slip_rate, 1.0, typical)
            * len(quiet)
            * QUIET_SHARE
        )

    def _counts_of(self, suspect: Suspect) -> BeatCounts:
        return self.evidence.counts_at(suspect.transition.to_quarters)


def _move_with_hands_of(window: Window, suspect: Suspect) -> Transition:
    """The suspected move, as the window's hands make it."""
    return replace(suspect.transition, hands=window.hands)


def _chance_to_name(suspect: Suspect, hands: Hands) -> float:
    """Chance that one repetition shows a likely fault again, in the hands that it would be in."""
    posterior = suspect.posterior
    if posterior.fault < LIKELY_FAULT or (
        hands is Hands.TOGETHER and posterior.fault >= CLAIM_FAULT
    ):
        return 0.0  # that it is one is known: what is left to learn is whose
    return posterior.of(hands) * FAILS
