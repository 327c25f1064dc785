"""A lesson by arithmetic: a drill, and a pianist of whom is known what fails and what it needs."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from fractions import Fraction as F
from random import Random
from typing import Any

from coach.coaching.model import Assignment, Decision, Observation
from coach.coaching.observations import observe_transitions
from coach.drill import Drill, RepetitionEnded, repair, score_from_notes
from coach.playing.notes import PlayedNote
from coach.score.model import Hands, Score
from coach.score.window import Window

QPM = 96.0


@dataclass(frozen=True)
class Weak:
    """A hand's arrival on a beat that fails: always, or by chance; above a tempo; only together."""

    hand: str
    beat: int
    chance: float = 1.0
    above_qpm: float = 0.0
    only_together: bool = False

    def fails(self, asked: Assignment, random: Random) -> bool:
        together = asked.window.hands is Hands.TOGETHER
        if (self.only_together and not together) or (asked.qpm or QPM) <= self.above_qpm:
            return False
        return random.random() < self.chance


def piece(bars: int = 4, pickup: int = 0) -> Score:
    """Quarters in both hands, no two alike side by side."""
    return score_from_notes(
        [
            {"pitch": 72 - 24 * (hand == "LH") + (0, 4, 7, 2, 5)[k % 5], "onset": k,
             "length": 1, "hand": hand}
            for k in range(4 * bars + pickup)
            for hand in ("RH", "LH")
        ],
        qpm=QPM,
        pickup_quarters=pickup,
    )  # fmt: skip


@dataclass(repr=False)
class Lesson:
    """Repetition after repetition of what the drill asks for."""

    weak: Iterable[Weak] = ()
    slip: float = 0.0
    """Chance of a slip somewhere in a repetition, whatever it is."""
    seed: int = 0
    score: Score = field(default_factory=piece)
    own_pace_qpm: float = QPM
    """The tempo that is played where none is asked for."""
    drill: Drill = field(init=False)
    now_s: float = 0.0
    history: list[Observation] = field(default_factory=list)

    def __post_init__(self) -> None:
        whole = Window(F(0), self.score.end_quarters)
        self.drill = Drill(self.score, repair(self.score, whole, qpm=QPM))
        self.random = Random(self.seed)

    def __repr__(self) -> str:
        pickup = self.score.bars[0].is_pickup
        return f"Lesson({self.weak}, slip={self.slip}, seed={self.seed}, pickup={pickup})"

    def _repr_pretty_(self, printer: Any, cycle: bool) -> None:
        printer.text(repr(self))

    @property
    def asked(self) -> Assignment:
        return self.drill.assignment

    @property
    def decision(self) -> Decision:
        return self.drill.decision

    def plays(self, clean: bool | None = None) -> RepetitionEnded:
        """One repetition: as the weak places have it, or clean or not as told."""
        asked, window = self.asked, self.drill.excerpt
        wrong = set() if clean else self._wrong(asked)
        if clean is False and not wrong:
            wrong = {(window.notes[-1].hand.value, window.notes[-1].onset_quarters)}
        quarter_s, first = 60 / (asked.qpm or self.own_pace_qpm), window.notes[0].onset_quarters
        keys = [
            PlayedNote(
                note.pitch + ((note.hand.value, note.onset_quarters) in wrong),
                64,
                self.now_s + float(note.onset_quarters - first) * quarter_s,
                0.9 * quarter_s,
            )
            for note in window.notes
        ]
        self.now_s = keys[-1].onset_s + 3.0
        ended = self.drill.repetition(keys, now_s=self.now_s)
        self.history += observe_transitions(ended.judgement, self.now_s)
        return ended

    def _wrong(self, asked: Assignment) -> set[tuple[str, F]]:
        out = {(w.hand, F(w.beat)) for w in self.weak if w.fails(asked, self.random)}
        if self.random.random() < self.slip:
            note = self.random.choice(self.drill.excerpt.notes)
            out.add((note.hand.value, note.onset_quarters))
        here = {(n.hand.value, n.onset_quarters) for n in self.drill.excerpt.notes}
        entered = self.drill.excerpt.notes[0].onset_quarters
        if entered:  # a move fails in its arrival from somewhere
            here -= {(hand.value, entered) for hand in self.drill.excerpt.hands.members}
        return out & here

    def until(self, wanted: Callable[[RepetitionEnded], bool], most: int = 60) -> RepetitionEnded:
        """Play on until a repetition after which ``wanted(ended)``."""
        for _ in range(most):
            ended = self.plays()
            if wanted(ended):
                return ended
        raise AssertionError(f"not within {most} repetitions; now: {self.asked}")

    def heals(self) -> None:
        """From now on nothing fails."""
        self.weak, self.slip = (), 0.0


def tempo_of(asked: Assignment) -> float:
    """The tempo asked for, where one is."""
    assert asked.qpm is not None
    return asked.qpm


def place(asked: Assignment) -> tuple[Window, float | None]:
    """What is to be played, and how fast."""
    return asked.window, asked.qpm


def is_smaller(after: Window, before: Window) -> bool:
    """A part of it; or fewer hands, in no longer a stretch than a bar."""
    if after.hands.members < before.hands.members:
        most = max(before.end_quarters - before.start_quarters, F(4))
        return after.end_quarters - after.start_quarters <= most
    return after != before and before.contains(after)
