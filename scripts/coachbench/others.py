"""Pianists by other rules than the product's own, so that nothing is tuned to one generator."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from coach.playing.simulated.player import Failing, Key, PlayerFault, SimulatedPianist
from coach.score.window import Excerpt


class OtherPianist(SimulatedPianist):
    """Fails at the first onset of the move, in more of its keys, and waits with one hand.

    The tempo wanders as a whole and every key has its own scatter, without an inner clock.
    A hesitation holds up one hand at its onset, and everything after it; a wrong key may lie far
    away; a chord is missed whole; a stumble goes back by up to four onsets, or only repeats the
    right keys after the wrong ones.
    """

    def _keys(self, excerpt: Excerpt, quarter_s: float, start_s: float) -> list[Key]:
        keys, wander, before = [], 1.0, excerpt.notes[0].onset_quarters
        clock_s, scatter_s = start_s, self.level.motor_ms / 1000
        for note in excerpt.notes:
            if note.onset_quarters > before:
                wander += self._random.gauss(0.0, 0.01) - 0.1 * (wander - 1.0)
                clock_s += float(note.onset_quarters - before) * quarter_s * wander
                before = note.onset_quarters
            keys.append(Key(note, clock_s + self._random.gauss(0.0, scatter_s), note.pitch))
        return keys

    def _spoil(self, keys: list[Key], fault: PlayerFault) -> list[Key]:
        move = fault.transition
        own = [k for k in keys if k.note.hand in move.hands]
        inside = [k for k in own if move.from_quarters < k.note.onset_quarters <= move.to_quarters]
        if not inside:
            return keys
        at = min(key.note.onset_quarters for key in inside)
        here = [key for key in inside if key.note.onset_quarters == at]
        if fault.failing is Failing.WRONG_KEY:
            self._miss_by(here)
        elif fault.failing is Failing.MISSED:
            keys = [key for key in keys if key not in here]
        elif fault.failing is Failing.LATE:
            self._hold_up(keys, here, at)
        else:
            keys = self._again(keys, here, at)
        return keys

    def _miss_by(self, here: list[Key]) -> None:
        steps = self._random.choice((-12, -5, -3, -2, -1, 1, 2, 3, 5, 12))
        for key in here:
            key.pitch += steps

    def _hold_up(self, keys: list[Key], here: list[Key], at: Fraction) -> None:
        by_s = self._random.uniform(0.2, 0.6)
        for key in keys:
            if key.note.onset_quarters > at or key in here:
                key.at_s += by_s

    def _again(self, keys: list[Key], here: list[Key], at: Fraction) -> list[Key]:
        onsets = sorted({key.note.onset_quarters for key in keys if key.note.onset_quarters <= at})
        first = onsets[-min(self._random.randint(1, 4), len(onsets))]
        played = [key for key in keys if first <= key.note.onset_quarters <= at]
        copies = [replace(key) for key in played]
        self._miss_by([copies[played.index(key)] for key in here])
        back_s = played[-1].at_s - played[0].at_s + self._random.uniform(0.3, 0.8)
        for key in keys:
            if key.note.onset_quarters >= first:
                key.at_s += back_s
        return sorted([*keys, *copies], key=lambda key: key.at_s)


class WaitingHands(OtherPianist):
    """The same, but both hands wait for the one that hesitates."""

    def _hold_up(self, keys: list[Key], here: list[Key], at: Fraction) -> None:
        by_s = self._random.uniform(0.2, 0.6)
        for key in keys:
            if key.note.onset_quarters >= at:
                key.at_s += by_s


OTHERS: tuple[type[SimulatedPianist], ...] = (OtherPianist, WaitingHands)
