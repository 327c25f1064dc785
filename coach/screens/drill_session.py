"""The drill, as the drill screen drives it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from coach.coaching.drill import DrillEvent, DrillState
    from coach.coaching.model import Assignment, Decision, Request
    from coach.judging.judge import JudgingJob
    from coach.judging.model import Judgement
    from coach.score.window import Excerpt


class DrillLike(Protocol):
    """The drill, as the drill screen drives it (``coach.coaching.drill.drill.Drill``)."""

    @property
    def state(self) -> DrillState:
        """Where it stands."""

    @property
    def decision(self) -> Decision:
        """What the coach decided last."""

    @property
    def assignment(self) -> Assignment:
        """What is to be played now."""

    @property
    def excerpt(self) -> Excerpt:
        """The notes of the present window."""

    def start(self, now_s: float) -> tuple[DrillEvent, ...]:
        """Show the first assignment."""

    def key_down(self, pitch: int, velocity: int, at_s: float) -> tuple[DrillEvent, ...]:
        """A key was struck."""

    def key_up(self, pitch: int, at_s: float) -> tuple[DrillEvent, ...]:
        """A key was released."""

    def pedal(self, controller: int, value: int, at_s: float) -> tuple[DrillEvent, ...]:
        """A pedal moved."""

    def tick(self, now_s: float) -> tuple[DrillEvent, ...]:
        """Time passed."""

    def judged(self, job: JudgingJob, judgement: Judgement, now_s: float) -> tuple[DrillEvent, ...]:
        """The verdict on a repetition that was given out to be judged."""

    def piano_lost(self, now_s: float) -> tuple[DrillEvent, ...]:
        """The piano vanished."""

    def piano_found(self, now_s: float) -> tuple[DrillEvent, ...]:
        """The piano is there."""

    def ask(self, request: Request, now_s: float) -> tuple[DrillEvent, ...]:
        """The pianist asks for something else."""

    def pause(self, now_s: float) -> tuple[DrillEvent, ...]:
        """Rest."""

    def resume(self, now_s: float) -> tuple[DrillEvent, ...]:
        """Go on."""
