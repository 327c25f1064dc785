"""The drill's ear: one window set up to be heard, with its follower, its click and its judge.

What earlier repetitions showed of the player (:class:`~coach.judging.habits.Habits`) is carried
from window to window.
"""

from __future__ import annotations

from coach.coaching.clicking import Clicking
from coach.coaching.facts import Assignment
from coach.coaching.outcomes import CountIn
from coach.judging.facts import Judgement
from coach.judging.following import Follower
from coach.judging.habits import Habits
from coach.judging.judge import judge
from coach.judging.tolerance import Tolerance
from coach.playing.notes import Take
from coach.score.model import Score
from coach.score.window import excerpt


class Ear:
    """Hears one assignment after the other; ``click_offset_s`` is how late the keys come."""

    def __init__(
        self, score: Score, tolerance: Tolerance, click_offset_s: float, asked: Assignment
    ) -> None:
        self.score, self.tolerance = score, tolerance
        self.click = Clicking(click_offset_s)
        self._habits = Habits()
        self.set_up(asked)

    def set_up(self, asked: Assignment) -> None:
        """Turn to an assignment from its beginning: nothing is heard of it yet, no click runs."""
        self.asked = asked
        self.excerpt = excerpt(self.score, asked.window)
        self.follower = Follower(self.excerpt, qpm=asked.qpm)
        self.click.clear()

    def judge(self, take: Take, click_s: float | None) -> Judgement:
        """Judge a take of what is set up, and remember how this player plays.

        ``click_s`` is when the window's first grid beat was clicked; None where no click ran.
        """
        judgement = judge(
            self.excerpt,
            take.notes,
            stage=self.asked.stage,
            qpm=self.asked.qpm,
            click_s=click_s,
            tolerance=self.tolerance,
            habits=self._habits,
        )
        self._habits = self._habits.with_(judgement, self.asked.qpm)
        return judgement

    @property
    def wants_click(self) -> bool:
        """Whether the assignment is played with a click."""
        return self.asked.click and self.asked.qpm is not None

    def plan_click(self, now_s: float) -> None:
        """Count in after a breath, where a click is asked for."""
        self.click.clear()
        if self.wants_click:
            self.click.plan(now_s)

    def start_click(self, now_s: float) -> CountIn:
        """Count in now."""
        qpm = self.asked.qpm or self.excerpt.qpm
        return self.click.start(self.excerpt, self.score, qpm, now_s)
