"""The simulated pianist: a player made of arithmetic, with known faults.

For the demo, the tests and the benchmarks. It knows the score and its own skill; the coach sees
only the notes that it plays. The same seed plays the same notes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from random import Random

from coach.playing.notes import PlayedNote
from coach.playing.simulated.skill import (
    INTERMEDIATE,
    OVERNIGHT,
    TIRED_AFTER,
    Failing,
    Law,
    Level,
    PlayerFault,
)
from coach.score.model import Hand, Hands, Score, ScoreNote
from coach.score.window import Excerpt

HELD_SHARE = 0.88
"""How much of its length a key is held."""
_LATE_S = (0.15, 0.8)
"""A hesitation: from hardly to be heard to a full stop."""
_CHORD_S = 0.006
_LEFT_SOFTER = 8


@dataclass
class Key:
    """A key about to be struck."""

    note: ScoreNote
    at_s: float
    pitch: int


class SimulatedPianist:
    """Plays excerpts of one score, and learns from its own right repetitions."""

    def __init__(
        self,
        score: Score,
        *,
        seed: int,
        faults: Iterable[PlayerFault] = (),
        level: Level = INTERMEDIATE,
        law: Law = Law.EXPONENTIAL,
    ) -> None:
        self.score, self.level, self.law = score, level, law
        self.faults = tuple(faults)
        self._random = Random(seed)
        self._correct: dict[PlayerFault, float] = dict.fromkeys(self.faults, 0.0)
        self._since_rest = 0

    def chance(self, fault: PlayerFault, tempo_share: float = 1.0) -> float:
        """The present chance that a fault shows, at a share of the piece's tempo."""
        tired = 1.0 + max(0, self._since_rest - TIRED_AFTER) / 100
        now = fault.chance_now(self._correct[fault], self.level.rate, self.law, tempo_share)
        return min(1.0, now * tired)

    def rest(self) -> None:
        """A break: tiredness goes."""
        self._since_rest = 0

    def overnight(self) -> None:
        """A night: rested, and some of what was learnt is gone."""
        self.rest()
        self._correct = {fault: n * OVERNIGHT for fault, n in self._correct.items()}

    def play(
        self, excerpt: Excerpt, qpm: float | None, *, start_s: float = 0.0
    ) -> tuple[PlayedNote, ...]:
        """One repetition; ``qpm`` None is the player's own pace. The first note is at about
        ``start_s``."""
        tempo = qpm or excerpt.qpm * self.level.pace
        failing = self._failing(excerpt, tempo / excerpt.qpm)
        keys = self._keys(excerpt, 60.0 / tempo, start_s)
        for fault in failing:
            keys = self._spoil(keys, fault)
        keys = self._slip(keys)
        self._since_rest += 1
        return self._struck(keys, 60.0 / tempo)

    def _failing(self, excerpt: Excerpt, tempo_share: float) -> list[PlayerFault]:
        failing = []
        for fault in self.faults:
            if not _shows(fault, excerpt):
                continue
            if self._random.random() < self.chance(fault, tempo_share):
                failing.append(fault)
            else:
                self._correct[fault] += 1
        return failing

    def _keys(self, excerpt: Excerpt, quarter_s: float, start_s: float) -> list[Key]:
        """The right keys, in a human's time.

        An inner clock ticks from onset to onset and each hand adds a delay of its own (Wing and
        Kristofferson, 1973, Perception and Psychophysics 14, 5-12).
        """
        keys: list[Key] = []
        clock_s, before = start_s, excerpt.notes[0].onset_quarters
        delays: dict[tuple[Fraction, Hand], float] = {}
        for note in excerpt.notes:
            gap_s = float(note.onset_quarters - before) * quarter_s
            clock_s += gap_s + self._random.gauss(0.0, self.level.clock_share * gap_s)
            before = note.onset_quarters
            place = (note.onset_quarters, note.hand)
            if place not in delays:
                delays[place] = self._random.gauss(0.0, self.level.motor_ms / 1000)
            spread_s = self._random.uniform(0.0, _CHORD_S)
            keys.append(Key(note, clock_s + delays[place] + spread_s, note.pitch))
        return keys

    def _spoil(self, keys: list[Key], fault: PlayerFault) -> list[Key]:
        """The keys with one fault in them, at the last onset of its move."""
        at = _last_onset(keys, fault)
        if at is None:
            return keys
        here = [k for k in keys if k.note.onset_quarters == at and _is_of(k.note, fault)]
        if fault.failing is Failing.WRONG_KEY:
            key = self._random.choice(here)
            key.pitch += self._random.choice((-2, -1, 1, 2))
        elif fault.failing is Failing.MISSED:
            gone = self._random.choice(here)
            keys = [key for key in keys if key is not gone]
        elif fault.failing is Failing.LATE:
            _delay(keys, at, self._random.uniform(*_LATE_S))
        else:
            keys = self._stumble(keys, at, fault)
        return keys

    def _stumble(self, keys: list[Key], at: Fraction, fault: PlayerFault) -> list[Key]:
        """The onset goes wrong; after a moment it and one or two before it are played again."""
        onsets = sorted({key.note.onset_quarters for key in keys if key.note.onset_quarters <= at})
        first = onsets[-min(self._random.choice((2, 3)), len(onsets))]
        again = [key for key in keys if first <= key.note.onset_quarters <= at]
        back_s = again[-1].at_s - again[0].at_s + self._random.uniform(*_LATE_S)
        copies = [replace(key) for key in again]
        _delay(keys, first, back_s)
        here = [key for key in copies if key.note.onset_quarters == at and _is_of(key.note, fault)]
        spoilt = self._random.choice(here)
        if len(here) > 1 and self._random.random() < 0.3:
            copies = [key for key in copies if key is not spoilt]
        else:
            spoilt.pitch += self._random.choice((-2, -1, 1, 2))
        return sorted([*keys, *copies], key=lambda key: key.at_s)

    def _slip(self, keys: list[Key]) -> list[Key]:
        """Ordinary slips, anywhere: a neighbouring key, or a note not sounded."""
        out = []
        for key in keys:
            if self._random.random() < self.level.slip:
                if self._random.random() < 0.4:
                    continue
                key.pitch += self._random.choice((-1, 1))
            out.append(key)
        return out

    def _struck(self, keys: Sequence[Key], quarter_s: float) -> tuple[PlayedNote, ...]:
        notes = []
        for key in keys:
            held_s = max(HELD_SHARE * float(key.note.length_quarters) * quarter_s, 0.05)
            loud = 68 - (_LEFT_SOFTER if key.note.hand is Hand.LEFT else 0)
            velocity = min(max(round(self._random.gauss(loud, 5)), 20), 110)
            notes.append(PlayedNote(key.pitch, velocity, key.at_s, held_s))
        return tuple(sorted(notes, key=lambda note: (note.onset_s, note.pitch)))


def _is_of(note: ScoreNote, fault: PlayerFault) -> bool:
    return note.hand in fault.transition.hands


def _in_move(note: ScoreNote, fault: PlayerFault) -> bool:
    move = fault.transition
    return move.from_quarters < note.onset_quarters <= move.to_quarters and _is_of(note, fault)


def _shows(fault: PlayerFault, excerpt: Excerpt) -> bool:
    """Whether the excerpt asks for the move: it is in it, comes from somewhere, and with both
    hands where the fault is of both together."""
    if fault.together_only and excerpt.window.hands is not Hands.TOGETHER:
        return False
    start = excerpt.notes[0].onset_quarters
    return any(_in_move(n, fault) and n.onset_quarters > start for n in excerpt.notes)


def _last_onset(keys: Sequence[Key], fault: PlayerFault) -> Fraction | None:
    return max((k.note.onset_quarters for k in keys if _in_move(k.note, fault)), default=None)


def _delay(keys: Sequence[Key], from_quarters: Fraction, by_s: float) -> None:
    for key in keys:
        if key.note.onset_quarters >= from_quarters:
            key.at_s += by_s
