"""Hearing one assignment: its window, with its follower, its click and its judge.

What earlier repetitions showed of the player (:class:`~coach.judging.timing.Habits`) is carried
from window to window.
"""

from __future__ import annotations

from coach.coaching.drill.count_in import CountInClick
from coach.coaching.model import Assignment
from coach.judging.following import Follower, Surroundings
from coach.judging.judge import JudgingJob
from coach.judging.model import Judgement
from coach.judging.timing import Habits
from coach.judging.tolerance import Tolerance
from coach.playing.notes import Take
from coach.score.model import Score
from coach.score.window import excerpt


class Hearing:
    """Hears one assignment after the other; ``click_offset_s`` is how late the keys come."""

    def __init__(
        self, score: Score, tolerance: Tolerance, click_offset_s: float, asked: Assignment
    ) -> None:
        self._score, self._tolerance, self._click_offset_s = score, tolerance, click_offset_s
        self._habits = Habits()
        self.set_up(asked)

    def set_up(self, asked: Assignment) -> None:
        """Turn to an assignment from its beginning: nothing is heard of it yet, no click runs."""
        self.asked = asked
        self.excerpt = excerpt(self._score, asked.window)
        around = Surroundings(self._score, self.excerpt)
        self.follower = Follower(self.excerpt, qpm=asked.qpm, surroundings=around)
        click_qpm = asked.qpm if asked.click else None
        self.click = CountInClick(self._score, self.excerpt, click_qpm, self._click_offset_s)

    def job(self, number: int, take: Take, click_s: float | None) -> JudgingJob:
        """What the judge needs for a take of what is set up.

        ``click_s`` is when the window's first grid beat was clicked; None where no click ran.
        """
        return JudgingJob(
            number,
            self.excerpt,
            take,
            self.asked.stage,
            self.asked.qpm,
            click_s,
            self._tolerance,
            self._habits,
        )

    def remember(self, judgement: Judgement, asked_qpm: float | None) -> None:
        """Remember how this player plays."""
        if judgement.is_repetition:
            self._habits = self._habits.with_(judgement, asked_qpm)
