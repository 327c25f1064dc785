"""How a weak spot is forgotten, and what each day's playing does to that: the formulas of FSRS-6.

FSRS is the published scheduler of https://github.com/open-spaced-repetition (its package ``fsrs``
6.3.2, MIT). Two numbers describe a memory: its stability, the days after which nine in ten would
still know it, and its difficulty, from 1 to 10. The formulas stand here and the package is only
the check (``tests/test_memory_of_spots.py``), for two reasons. The package counts whole days: from
the evening to the next morning nothing is forgotten by it. And the coach uses the standard library
only. All figures come from recalling facts, none from the piano; so the first morning does not ask
them (``spots.py``).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from math import exp, pow

DAY_S = 86_400.0

WEIGHTS = (
    0.212, 1.2931, 2.3065, 8.2956, 6.4133, 0.8334, 3.0194, 0.001, 1.8722, 0.1666, 0.796,
    1.4835, 0.0614, 0.2629, 1.6483, 0.6014, 1.8729, 0.5425, 0.0912, 0.0658, 0.1542,
)  # fmt: skip
"""FSRS-6's own, fitted to many learners (the package's ``DEFAULT_PARAMETERS``)."""
_FIRST, _BEGIN, _STEP, _BACK = WEIGHTS[:4], WEIGHTS[4:6], WEIGHTS[6], WEIGHTS[7]
_GROWTH, _SATURATION, _SPACING = WEIGHTS[8:11]
_LAPSE, _LAPSE_HARD, _LAPSE_STABLE, _LAPSE_LATE = WEIGHTS[11:15]
_HARD, _EASY = WEIGHTS[15:17]
_SAME_DAY, _SAME_DAY_SHIFT, _SAME_DAY_STABLE = WEIGHTS[17:20]
_DECAY = WEIGHTS[20]
_FACTOR = pow(0.9, -1 / _DECAY) - 1
"""So that the chance is 0.9 once as many days have passed as the stability says."""
_LEAST_STABILITY, _LEAST_DIFFICULTY, _MOST_DIFFICULTY = 0.001, 1.0, 10.0
"""Days, and the ends of the scale of difficulty: FSRS-6's own bounds (the package's)."""


class Grade(IntEnum):
    """How a day went; the numbers are FSRS's."""

    FORGOTTEN = 1
    HARD = 2
    GOOD = 3
    EASY = 4


@dataclass(frozen=True, slots=True)
class Memory:
    """How well something is remembered."""

    stability_days: float
    difficulty: float
    at_s: float
    """When it was last played, unix time."""

    def chance(self, at_s: float) -> float:
        """The chance that it holds at a time; hours count."""
        days = max(at_s - self.at_s, 0.0) / DAY_S
        return pow(1 + _FACTOR * days / self.stability_days, -_DECAY)

    def days_until(self, chance: float) -> float:
        """Days after which only this chance is left."""
        return self.stability_days / _FACTOR * (pow(chance, -1 / _DECAY) - 1)

    def after(self, grade: Grade, at_s: float, until_s: float | None = None) -> Memory:
        """Once it was played again.

        ``at_s`` is the first try, which tells what was left; ``until_s`` the last of that sitting.
        """
        if at_s - self.at_s < DAY_S / 2:
            stability = self._same_day(grade)
        elif grade is Grade.FORGOTTEN:
            stability = self._forgotten(self.chance(at_s))
        else:
            stability = self._recalled(grade, self.chance(at_s))
        return Memory(
            max(stability, _LEAST_STABILITY),
            _next_difficulty(self.difficulty, grade),
            at_s if until_s is None else until_s,
        )

    def _same_day(self, grade: Grade) -> float:
        growth = exp(_SAME_DAY * (grade - Grade.GOOD + _SAME_DAY_SHIFT))
        growth *= pow(self.stability_days, -_SAME_DAY_STABLE)
        return self.stability_days * (growth if grade is Grade.FORGOTTEN else max(growth, 1.0))

    def _forgotten(self, chance: float) -> float:
        after = (
            _LAPSE
            * pow(self.difficulty, -_LAPSE_HARD)
            * (pow(self.stability_days + 1, _LAPSE_STABLE) - 1)
            * exp((1 - chance) * _LAPSE_LATE)
        )
        return min(after, self.stability_days / exp(_SAME_DAY * _SAME_DAY_SHIFT))

    def _recalled(self, grade: Grade, chance: float) -> float:
        share = {Grade.HARD: _HARD, Grade.EASY: _EASY}.get(grade, 1.0)
        growth = (
            exp(_GROWTH)
            * (11 - self.difficulty)
            * pow(self.stability_days, -_SATURATION)
            * (exp((1 - chance) * _SPACING) - 1)
        )
        return self.stability_days * (1 + growth * share)


def first_memory(grade: Grade, at_s: float) -> Memory:
    """What is left of the first day that it was played."""
    return Memory(_FIRST[grade - 1], _bound(_first_difficulty(grade)), at_s)


def _first_difficulty(grade: Grade) -> float:
    begin, step = _BEGIN
    return begin - exp(step * (grade - 1)) + 1


def _next_difficulty(difficulty: float, grade: Grade) -> float:
    moved = difficulty - _STEP * (grade - Grade.GOOD) * (10 - difficulty) / 9
    return _bound(_BACK * _first_difficulty(Grade.EASY) + (1 - _BACK) * moved)


def _bound(difficulty: float) -> float:
    return min(max(difficulty, _LEAST_DIFFICULTY), _MOST_DIFFICULTY)
