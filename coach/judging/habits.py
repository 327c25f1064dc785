"""What earlier repetitions showed at each onset: the player's own habits of time.

A lateness that comes back every time, by the same amount, is meant; one that comes now and then
is a hesitation. Both need a memory, which is this: plain data, handed in and handed on.

Conventions
-----------
Errors are milliseconds against the repetition's own tempo line, positive when late; one for each
hand and onset of a repetition, the oldest first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from statistics import median, stdev

from coach.judging.facts import Judgement, Label
from coach.score.model import Hand

Place = tuple[Fraction, Hand]
"""An onset in quarters from the piece's start, and a hand."""

_KEPT = 20
"""Repetitions remembered: the ear's standard should follow the player as the piece grows."""
LEAST = 5
"""Repetitions from which an onset's history means something: a design choice, and only together
with a floor, since a MAD of five values is far off as often as not."""
_RECURS = 2 / 3
_SAME_SHARE = 0.05
_LEAST_MAD_MS = 4.0
"""A history of a few equal values would make anything unusual: half the JND at fast tempos and
the clock of MIDI itself keep the spread above this."""


def modified_z(value: float, history: Sequence[float], least_mad: float = 0.0) -> float:
    """0.6745 (x - median) / MAD: how unusual a value is (Iglewicz & Hoaglin 1993).

    Infinite where the history has no spread and the value differs.
    """
    middle = median(history)
    mad = max(median(abs(x - middle) for x in history), least_mad)
    if mad == 0:
        return 0.0 if value == middle else float("inf") * (1 if value > middle else -1)
    return 0.6745 * (value - middle) / mad


@dataclass(frozen=True)
class Habits:
    """Errors of earlier repetitions at each onset of each hand."""

    errors_ms: Mapping[Place, tuple[float, ...]] = field(default_factory=dict)

    def with_(self, judgement: Judgement) -> Habits:
        """These habits and one repetition more; only right keys that were reached count."""
        found: dict[Place, list[float]] = {}
        for label in judgement.score:
            if label.label is Label.MATCHED and label.error_ms is not None:
                note = judgement.excerpt.notes[label.note]
                found.setdefault((note.onset_quarters, note.hand), []).append(label.error_ms)
        errors = dict(self.errors_ms)
        for place, values in found.items():
            errors[place] = (*errors.get(place, ()), median(values))[-_KEPT:]
        return Habits(errors)

    def history(self, onset: Fraction, hand: Hand) -> tuple[float, ...] | None:
        """The errors at an onset; None where there are too few to mean anything."""
        found = self.errors_ms.get((onset, hand), ())
        return found if len(found) >= LEAST else None

    def is_expressive(self, onset: Fraction, hand: Hand, error_ms: float, ioi_ms: float) -> bool:
        """Whether this lateness is this player's way: it recurs, by nearly the same amount.

        In at least two thirds of the repetitions, within 5 % of the interval (a design
        choice; van Vugt, Jabusch & Altenmueller 2012: systematic against non-systematic).
        """
        history = self.history(onset, hand)
        if history is None:
            return False
        near = [x for x in history if abs(x - error_ms) <= 2 * _SAME_SHARE * ioi_ms]
        if len(near) < _RECURS * len(history):
            return False
        return stdev(near) < _SAME_SHARE * ioi_ms if len(near) > 1 else False

    def is_unusual(self, onset: Fraction, hand: Hand, error_ms: float, z_limit: float) -> bool:
        """Whether an error stands out from this onset's own history and the player's scatter."""
        history = self.history(onset, hand)
        if history is None:
            return False
        return modified_z(error_ms, history, max(self._pooled_mad, _LEAST_MAD_MS)) > z_limit

    @property
    def _pooled_mad(self) -> float:
        """The middle of all onsets' MADs: one short history alone says too little."""
        spreads = [
            median(abs(x - median(values)) for x in values)
            for values in self.errors_ms.values()
            if len(values) >= LEAST
        ]
        return median(spreads) if spreads else 0.0

    @property
    def scatter_ms(self) -> float:
        """The player's usual scatter (SD), from the pooled MAD; 0 where nothing is known."""
        return self._pooled_mad / 0.6745
