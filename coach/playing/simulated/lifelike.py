"""A pianist whose nature is drawn at dice: how easy a hand alone is, how practice mends and undoes.

The coach believes certain things of its pianists. A player made by the same beliefs would flatter
it. So every constant here is drawn anew for each player, from a range that is wider than what the
coach assumes, and chances live on another scale: in log-odds, where the coach multiplies shares.
All ranges without a source are our own choice of what is met with at home.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction
from math import exp, log
from random import Random

from coach.playing.notes import PlayedNote
from coach.playing.simulated.player import (
    INTERMEDIATE,
    Key,
    Level,
    PlayerFault,
    SimulatedPianist,
    shows,
)
from coach.score.model import Hands, Score
from coach.score.window import Excerpt, Window

SURE = 1e-6
"""No chance is nearer to 0 or 1 than this: log-odds have no end."""
SECONDS_A_MINUTE = 60.0


def log_odds(chance: float) -> float:
    """The logarithm of a chance's odds."""
    inside = min(max(chance, SURE), 1.0 - SURE)
    return log(inside / (1.0 - inside))


def chance_of(odds: float) -> float:
    """The chance that has these log-odds."""
    return 1.0 / (1.0 + exp(-odds))


@dataclass(frozen=True, slots=True)
class Nature:
    """What one player is like. Gains and easings are log-odds of failing at a place."""

    alone_eases: float
    """By how much a hand alone fails less than the same hand together with the other."""
    half_tempo_eases: float
    """By how much half the tempo makes it fail less."""
    gain: float
    """What a right repetition takes away; 0 for one who never learns the place."""
    undone: float
    """Share of a right repetition's gain that a wrong one takes back."""
    alone_carries: float
    """Share of what is learnt in one hand alone, or slower, that is there when it counts."""
    forgets: float
    """Share of what was learnt that a minute without the place takes away."""
    slip: float
    """Chance of a slip at a note."""
    slips_again: float
    """Chance that the next repetition after one with a slip goes loose: slips come in clusters."""
    loose: float
    """How many times likelier a slip is while it goes loose."""
    fear_s: float
    """How long a feared place is waited for, though it then comes right."""
    false_start: float
    """Chance that a note or two are struck and left before a repetition."""
    breaks_off: float
    """Chance that a repetition is left where it went wrong, to begin again."""
    talk_s: float
    """How long is talked, or looked about, between two repetitions, in the middle."""
    other_hand_too: float
    """Chance that both hands play where one is asked for."""
    pace: float
    """The tempo that is played, as a share of the one that is asked for."""
    pace_scatter: float

    @classmethod
    def draw(cls, dice: Random) -> Nature:
        """A nature as any other."""
        return cls(
            alone_eases=dice.uniform(0.0, 1.0),
            half_tempo_eases=dice.uniform(0.3, 3.5),
            gain=dice.uniform(0.12, 0.55),
            undone=dice.uniform(0.0, 0.6),
            alone_carries=dice.uniform(0.45, 1.0),
            forgets=dice.uniform(0.0, 0.03),
            slip=dice.choice((0.0, dice.uniform(0.0, 0.0015))),
            slips_again=dice.uniform(0.0, 0.4),
            loose=dice.uniform(2.0, 9.0),
            fear_s=dice.choice((0.0, dice.uniform(0.0, 0.11))),
            false_start=dice.uniform(0.0, 0.07),
            breaks_off=dice.uniform(0.0, 0.4),
            talk_s=dice.uniform(1.3, 6.0),
            other_hand_too=dice.uniform(0.0, 0.03),
            pace=dice.uniform(0.96, 1.04),
            pace_scatter=dice.uniform(0.005, 0.025),
        )


@dataclass(slots=True)
class _Learnt:
    """What a player has learnt of one place."""

    log_odds: float = 0.0
    at_s: float = 0.0


class LifelikePianist(SimulatedPianist):
    """Plays by a :class:`Nature`. A fault's chance is that at the asked tempo, hands as written.

    Each call of :meth:`play` is one repetition from its first note on; what passes before it (talk,
    a false start) is told by :meth:`lingers_s`.
    """

    def __init__(
        self,
        score: Score,
        *,
        seed: int,
        nature: Nature,
        faults: Iterable[PlayerFault] = (),
        level: Level = INTERMEDIATE,
    ) -> None:
        steady = replace(level, name="lifelike", slip=nature.slip)
        super().__init__(score, seed=seed, faults=faults, level=steady)
        self.nature = nature
        self._learnt = {fault: _Learnt() for fault in self.faults}
        self._now_s = 0.0
        self._is_loose = False

    def lingers_s(self) -> float:
        """Seconds before the next repetition: a breath, talk, now and then a false start."""
        nature, dice = self.nature, self._random
        talk_s = nature.talk_s * exp(dice.gauss(0.0, 0.5))
        return talk_s + (dice.uniform(1.0, 3.0) if dice.random() < nature.false_start else 0.0)

    def chance(
        self, fault: PlayerFault, tempo_share: float = 1.0, hands: Hands = Hands.TOGETHER
    ) -> float:
        """The present chance that a fault shows, at a share of the piece's tempo."""
        learnt = self._learnt[fault]
        idle_minutes = max(self._now_s - learnt.at_s, 0.0) / SECONDS_A_MINUTE
        known = learnt.log_odds * (1.0 - self.nature.forgets) ** idle_minutes
        slow = -log(min(tempo_share, 1.0)) / log(2.0) * self.nature.half_tempo_eases
        alone = 0.0 if hands is Hands.TOGETHER else self.nature.alone_eases
        return chance_of(log_odds(fault.chance) - known - slow - alone)

    def play(
        self, excerpt: Excerpt, qpm: float | None, *, start_s: float = 0.0
    ) -> tuple[PlayedNote, ...]:
        """One repetition, at about the tempo asked for; it may be left where it went wrong."""
        nature, dice = self.nature, self._random
        self._now_s = start_s
        alone = excerpt.window.hands is not Hands.TOGETHER
        if alone and dice.random() < nature.other_hand_too:
            excerpt = _with_other_hand(excerpt)
        asked_qpm = qpm or excerpt.qpm * self.level.pace
        tempo = asked_qpm * nature.pace * exp(dice.gauss(0.0, nature.pace_scatter))
        failing = self._meet_faults(excerpt, tempo / excerpt.qpm)
        keys = self._keys(excerpt, SECONDS_A_MINUTE / tempo, start_s)
        for fault in self.faults:
            if fault in failing:
                keys = self._spoil(keys, fault)
            elif shown := _onsets_of(keys, fault):
                _wait_before(keys, min(shown), self._fear_s(fault))
        keys = self._slip(keys)
        if failing and keys and dice.random() < nature.breaks_off:
            keys = _left_at(keys, failing[0])
        self._since_rest += 1
        return self._strike(keys, SECONDS_A_MINUTE / tempo)

    def _meet_faults(self, excerpt: Excerpt, tempo_share: float) -> list[PlayerFault]:
        """Which faults show now; every meeting is learnt from, or unlearnt."""
        failing, nature, hands = [], self.nature, excerpt.window.hands
        for fault in self.faults:
            if not shows(fault, excerpt):
                continue
            chance = self.chance(fault, tempo_share, hands)
            fails = self._random.random() < chance
            learnt = self._learnt[fault]
            idle_minutes = max(self._now_s - learnt.at_s, 0.0) / SECONDS_A_MINUTE
            kept = learnt.log_odds * (1.0 - nature.forgets) ** idle_minutes
            gain = nature.gain if fault.learns else 0.0
            easier = hands is not Hands.TOGETHER or tempo_share < nature.pace
            carried = gain * (nature.alone_carries if easier else 1.0)
            kept += -carried * nature.undone if fails else carried
            self._learnt[fault] = _Learnt(max(kept, 0.0), self._now_s)
            failing += [fault] if fails else []
        return failing

    def _fear_s(self, fault: PlayerFault) -> float:
        return self.nature.fear_s * self.chance(fault)

    def _slip(self, keys: list[Key]) -> list[Key]:
        """Slips come in clusters: one may make the next repetition loose."""
        nature = self.nature
        usual = self.level
        if self._is_loose:
            self.level = replace(usual, slip=min(usual.slip * nature.loose, 1.0))
        before = [(key.note.id, key.pitch) for key in keys]
        out = super()._slip(keys)
        self.level = usual
        slipped = before != [(key.note.id, key.pitch) for key in out]
        self._is_loose = slipped and self._random.random() < nature.slips_again
        return out


def _with_other_hand(excerpt: Excerpt) -> Excerpt:
    window: Window = excerpt.window.of(Hands.TOGETHER)
    notes = sorted((*excerpt.notes, *excerpt.other_hand), key=lambda n: (n.onset_quarters, n.pitch))
    return replace(excerpt, window=window, notes=tuple(notes), other_hand=())


def _onsets_of(keys: list[Key], fault: PlayerFault) -> list[Fraction]:
    """The onsets at which a move that is made here arrives."""
    move = fault.transition
    return [
        key.note.onset_quarters
        for key in keys
        if move.from_quarters < key.note.onset_quarters <= move.to_quarters
        and key.note.hand in move.hands
    ]


def _wait_before(keys: list[Key], onset: Fraction, by_s: float) -> None:
    for key in keys:
        if key.note.onset_quarters >= onset:
            key.at_s += by_s


def _left_at(keys: list[Key], fault: PlayerFault) -> list[Key]:
    """Only what was struck up to the place that went wrong."""
    arrived = max(_onsets_of(keys, fault), default=keys[-1].note.onset_quarters)
    return [key for key in keys if key.note.onset_quarters <= arrived]
