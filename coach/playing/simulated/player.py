"""The simulated pianist: a player made of arithmetic, with known faults.

For the demo, the tests and the benchmarks. It knows the score and its own skill; the coach sees
only the notes that it plays. The same seed plays the same notes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from math import exp
from random import Random

from coach.playing.notes import PlayedNote
from coach.score.model import Hand, Hands, Score, ScoreNote
from coach.score.window import Excerpt, Transition, Window

# What a simulated pianist can and can't do yet: faults, levels, and how practice changes them.
#
# Conventions
# -----------
# A chance is per attempt, at the piece's own tempo. ``correct`` counts the right repetitions of one
# move. Figures without a source are our own choice: they set how a demo goes, nothing else.


class Law(StrEnum):
    """How a chance of failing falls with right repetitions."""

    EXPONENTIAL = "exponential"
    """By the same share each time: fits single learners best (Heathcote, Brown and Mewhort, 2000,
    Psychonomic Bulletin and Review 7, 185-207)."""
    POWER = "power"
    """Fast at first, then ever slower: fits averages of learners (the same)."""
    INSIGHT = "insight"
    """Hardly at all, and then at once."""


class Failing(StrEnum):
    """How a move fails."""

    WRONG_KEY = "wrong key"
    MISSED = "missed"
    LATE = "late"
    STUMBLE = "stumble"
    """The last notes are played again."""


@dataclass(frozen=True, slots=True)
class PlayerFault:
    """A move that this player can't do yet."""

    transition: Transition
    """Of one hand; of both together for a fault that shows only then."""
    chance: float
    """Of failing at the piece's own tempo, before any practice; 0 to 1."""
    failing: Failing = Failing.WRONG_KEY
    ease: float = 3.0
    """How much slower playing helps: the chance goes with (tempo / own tempo) ** ease. A reading
    fault has little (0.5), a leap much (4)."""
    learns: bool = True

    def chance_now(self, correct: float, rate: float, law: Law, tempo_share: float) -> float:
        """The chance after so many right repetitions, at a share of the piece's tempo."""
        left = share_left(correct, rate, law) if self.learns else 1.0
        eased: float = min(1.0, tempo_share) ** self.ease
        return min(1.0, self.chance * left * eased)

    @property
    def together_only(self) -> bool:
        """Shows only when both hands play."""
        return self.transition.hands is Hands.TOGETHER


def share_left(correct: float, rate: float, law: Law) -> float:
    """The share of a chance that is left after so many right repetitions."""
    if law is Law.EXPONENTIAL:
        return exp(-rate * correct)
    if law is Law.POWER:
        share: float = (1.0 + correct) ** (-4.0 * rate)
        return share
    return 1 / (1 + exp(min(2.0 * (correct - 1.5 / rate), 100.0)))


@dataclass(frozen=True, slots=True)
class Level:
    """How well a player plays what is no fault of theirs."""

    name: str
    slip: float
    """Chance of an ordinary slip at a note."""
    clock_share: float
    """Standard deviation of the inner clock's interval, as a share of it: it grows with the
    interval (Repp, 1997; Perception and Psychophysics 59, 530-541)."""
    motor_ms: float
    """Standard deviation of the finger's delay: what is left where a professional's scale has
    intervals with a standard deviation of 8 ms (Jabusch, 2006)."""
    rate: float
    """How fast right repetitions mend a fault."""
    pace: float
    """Own pace, as a share of the piece's tempo."""


NOVICE = Level("novice", 0.010, 0.030, 10.0, 0.18, 0.6)
INTERMEDIATE = Level("intermediate", 0.005, 0.022, 8.0, 0.25, 0.75)
ADVANCED = Level("advanced", 0.002, 0.015, 5.7, 0.35, 0.9)
LEVELS = (NOVICE, INTERMEDIATE, ADVANCED)

OVERNIGHT = 0.6
"""The share of right repetitions that is still there the next morning."""

TIRED_AFTER = 60
"""Repetitions since the last night after which chances of failing begin to grow."""


HELD_SHARE = 0.88
"""How much of its length a key is held."""
_LATE_S = (0.15, 0.8)
"""A hesitation: from hardly to be heard to a full stop."""
_CHORD_S = 0.006
"""How far the keys of a chord are apart: less than the 15 ms that are heard as one. Own choice."""
_LEFT_SOFTER = 8
"""In velocity: the accompanying hand plays below the melody (common practice)."""


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
        """Repetitions since the last night."""

    def chance(self, fault: PlayerFault, tempo_share: float = 1.0) -> float:
        """The present chance that a fault shows, at a share of the piece's tempo."""
        tired = 1.0 + max(0, self._since_rest - TIRED_AFTER) / 100
        now = fault.chance_now(self._correct[fault], self.level.rate, self.law, tempo_share)
        return min(1.0, now * tired)

    def sleep(self) -> None:
        """A night: rested, and some of what was learnt is gone."""
        self._since_rest = 0
        self._correct = {fault: count * OVERNIGHT for fault, count in self._correct.items()}

    def play(
        self, excerpt: Excerpt, qpm: float | None, *, start_s: float = 0.0
    ) -> tuple[PlayedNote, ...]:
        """One repetition; ``qpm`` None is the player's own pace. The first note is at about
        ``start_s``."""
        tempo = qpm or excerpt.qpm * self.level.pace
        failing = self._draw_faults(excerpt, tempo / excerpt.qpm)
        keys = self._keys(excerpt, 60.0 / tempo, start_s)
        for fault in failing:
            keys = self._spoil(keys, fault)
        keys = self._slip(keys)
        self._since_rest += 1
        return self._strike(keys, 60.0 / tempo)

    def _draw_faults(self, excerpt: Excerpt, tempo_share: float) -> list[PlayerFault]:
        failing = []
        for fault in self.faults:
            if not shows(fault, excerpt):
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

    def _strike(self, keys: Sequence[Key], quarter_s: float) -> tuple[PlayedNote, ...]:
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


def shows(fault: PlayerFault, excerpt: Excerpt) -> bool:
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


# The demo's player: one that has one fault, mends, and otherwise hardly slips.


def demo_pianist(score: Score, seed: int = 1) -> SimulatedPianist:
    """The demo's player: one fault in the left hand, about the middle of the piece.

    It fails mostly at the piece's tempo, less when it is slow, and mends with right repetitions.
    """
    fault = PlayerFault(_middle_move(score), 0.9, Failing.WRONG_KEY, ease=3.0)
    careful = replace(INTERMEDIATE, name="demo", slip=0.0005, rate=0.22)
    return SimulatedPianist(score, seed=seed, faults=[fault], level=careful)


DEMO_BARS = (2, 1)
"""Bars of the demo's window before the one that the fault leads into, and after it. Own choice,
because a lesson in four bars is over in two minutes."""


def demo_window(score: Score) -> Window:
    """The passage of the demo: a few bars around the move that its player can't do."""
    bar, (before, after) = score.bar_at(_middle_move(score).to_quarters), DEMO_BARS
    first = score.bars[max(bar.index - before, 0)]
    last = score.bars[min(bar.index + after, len(score.bars) - 1)]
    return Window(first.onset_quarters, last.end_quarters)


def demo_fault_words(score: Score) -> str:
    """What was planted, in a sentence: a demo that says so can be watched with a question."""
    move = _middle_move(score)
    return (
        f"Planted: the {HAND_NAMES[move.hands]} fails on its way to "
        f"{score.place(move.to_quarters)}. See whether that is found."
    )


HAND_NAMES = {Hands.RIGHT: "right hand", Hands.LEFT: "left hand", Hands.TOGETHER: "pair of hands"}


def _middle_move(score: Score) -> Transition:
    """The left hand's move into a beat near the middle (the right hand's, if it plays alone)."""
    middle = score.end_quarters / 2
    left = [note for note in score.notes if note.hand is Hand.LEFT]
    notes = left or list(score.notes)
    arrived = min(notes, key=lambda note: abs(note.onset_quarters - middle)).onset_quarters
    bar = score.bar_at(arrived)
    beats = [beat for beat in bar.beats_quarters() if beat >= arrived]
    to = beats[0] if beats else bar.end_quarters
    step = bar.metre.beat_quarters
    return Transition(Hands(notes[0].hand), to - step, to)
