"""The way back up to the tempo asked for: single marks at first, and now and then a trial.

One mark is the first step; each step that holds doubles the next (1, 2, 4 marks). Before the first
step, and again after every second one, the tempo asked for is tried once: alternation with slow
practice did better than slow practice alone (Henley 2001), and a trial that comes off saves the
rest of the climb. After an unclean repetition the tempo never rises.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from fractions import Fraction
from typing import Any

from coach.coaching.facts import Kind
from coach.coaching.metronome import quicker, slower

FLOOR = 0.5
"""Slowest tempo that is asked for, as a share of the goal's."""
STEPS_TO_TRIAL = 2
MOST_MARKS = 4
_SAME = 1e-6


@dataclass(slots=True)
class Climb:
    """A tempo on its way to a target, in quarters a minute; all None at the player's own pace."""

    target: float | None
    now: float | None
    marks: int = 1
    """Size of the next step up."""
    steps: int = STEPS_TO_TRIAL
    """Steps since the last trial."""
    before_trial: float | None = None
    """The tempo to go on from, while a trial is on."""

    @property
    def at_target(self) -> bool:
        """Nothing left to climb."""
        return self.target is None or self.now is None or self.now >= self.target - _SAME

    @property
    def at_floor(self) -> bool:
        """Nothing left to slow down."""
        return self.target is None or self.now is None or self.now <= self.target * FLOOR + _SAME

    @property
    def on_trial(self) -> bool:
        """The tempo asked for is being tried."""
        return self.before_trial is not None

    def up(self, beat_quarters: Fraction) -> Kind:
        """One step up, or a trial, after a full clean run."""
        assert self.now is not None
        assert self.target is not None
        if self.steps >= STEPS_TO_TRIAL:
            self.before_trial, self.now, self.steps = self.now, self.target, 0
            return Kind.TRIAL
        self.now = min(quicker(self.now, beat_quarters, self.marks), self.target)
        self.marks = min(self.marks * 2, MOST_MARKS)
        self.steps += 1
        return Kind.QUICKEN

    def trial_held(self) -> None:
        """The trial was clean: go on at the tempo asked for."""
        self.before_trial = None

    def trial_failed(self, beat_quarters: Fraction) -> Kind:
        """Back from the trial, one mark above the tempo that held."""
        assert self.before_trial is not None
        assert self.target is not None
        held, tried = self.before_trial, self.now or self.target
        self.before_trial, self.marks = None, 1
        self.now = min(quicker(held, beat_quarters), slower(tried, beat_quarters))
        self.steps = 1
        return Kind.SLOWER

    def down(self, beat_quarters: Fraction, marks: int = MOST_MARKS) -> Kind:
        """Slower by so many marks, not below the floor."""
        if self.now is not None and self.target is not None:
            self.now = max(slower(self.now, beat_quarters, marks), self.target * FLOOR)
        self.marks, self.before_trial, self.steps = 1, None, STEPS_TO_TRIAL
        return Kind.SLOWER

    def plain(self) -> dict[str, Any]:
        """JSON-ready; ``Climb(**plain)`` reads it back."""
        return asdict(self)
