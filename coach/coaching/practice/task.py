"""A task, the run of its repetitions, and the sequential test (Wald 1945) that ends one early."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import NamedTuple

from coach.coaching.diagnosis import Sprt
from coach.coaching.model import AssignmentKind
from coach.coaching.wording import AS_YOU_WOULD
from coach.judging.model import Stage
from coach.score.window import Window

STOP_EARLY = Sprt(low=0.1, high=0.5, alpha=0.05, beta=0.10)
"""Clean nine times in ten, or only every second time: two failures running decide for the latter,
four clean ones for the former (Wald 1945). The rates and the risks are our own choice, because a
tempo at which every second repetition fails trains the failure."""


TOO_HARD = 2
"""Unclean ones running after which something has to change. Common practice: the same is not asked
for a third time, for nothing."""


def two_thirds_of(clean_required: int) -> int:
    """Two thirds of a clean run: what a part of the way to the goal asks for.

    Own choice, because the full run is asked for at the goal: two where that asks for three.
    """
    return ceil(clean_required * 2 / 3)


def third_of(clean_required: int) -> int:
    """A third of a clean run: what a join asks for that has not failed yet.

    Own choice, because it only asks whether the repaired move still holds: once where the goal asks
    for three.
    """
    return ceil(clean_required / 3)


OFF_PACE = 0.08
"""A tempo is off that is further than this from the one asked for, as a share. Own choice: more
than a metronome mark and a half, which anyone hears."""


@dataclass(frozen=True, slots=True)
class Task:
    """What is to be reached: a window, clean at a tempo, so many times running."""

    window: Window
    qpm: float | None
    stage: Stage
    clean_required: int
    start_qpm: float | None
    """The tempo to begin at."""
    kind: AssignmentKind = AssignmentKind.TRY
    reason: str = AS_YOU_WOULD
    is_new: bool = False
    """New music: what holds at once is not drilled. Slower than ``qpm`` once is enough then."""
    is_part: bool = False
    """Only a step on the way: at its tempo, too, once is enough where nothing in it broke."""
    is_reading: bool = False
    """Where it breaks twice it is taken apart by the plan, and not repaired."""
    is_long: bool = False
    """Where it slips here and there it is taken apart by the plan, and not slowed down."""
    has_parts: bool = False
    """Where it slips here and there, and no place stands out in it, it is taken apart, too."""
    parts_held: bool = False
    """It was taken apart, and all its parts hold: a third of the clean run is enough."""
    is_one_hand: bool = False
    """One hand of what failed nearly everywhere in that hand."""
    is_set_work: bool = False
    """The full clean run is asked for all the same."""


@dataclass(slots=True)
class RunCounts:
    """The repetitions of the present assignment, up to now."""

    clean: int = 0
    """Clean ones running."""
    unclean: int = 0
    """Unclean ones running."""
    played: int = 0
    failed: int = 0

    def count(self, clean: bool) -> None:
        """Take in one repetition."""
        self.played += 1
        self.failed += not clean
        self.clean, self.unclean = (self.clean + 1, 0) if clean else (0, self.unclean + 1)

    @property
    def asks_for_change(self) -> bool:
        """Two unclean ones running, or as plain a sign that it can't be had as it is."""
        return self.unclean >= TOO_HARD or STOP_EARLY.verdict(self.failed, self.played) is False


class NextWindow(NamedTuple):
    """A window to ask for next, at the tempo that stands, and why."""

    window: Window
    kind: AssignmentKind
    reason: str
