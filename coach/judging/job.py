"""A repetition to be judged: all that the judge needs, as a fact that other processes can take."""

from __future__ import annotations

from dataclasses import dataclass

from coach.judging.judge import judge
from coach.judging.model import Judgement, Stage
from coach.judging.timing import Habits
from coach.judging.tolerance import Tolerance
from coach.playing.notes import Take
from coach.score.window import Excerpt

UNJUDGED = "There was no time to judge it: it does not count."


@dataclass(frozen=True, slots=True)
class JudgingJob:
    """One take of one window; picklable."""

    number: int
    """Which it is of those of its drill: verdicts are taken in this order."""
    excerpt: Excerpt
    """The window that stood when the repetition began."""
    take: Take
    stage: Stage
    qpm: float | None
    """The tempo asked for; None for the player's own pace."""
    click_s: float | None
    """When the window's first grid beat was clicked; None where no click ran."""
    tolerance: Tolerance
    habits: Habits

    @property
    def size(self) -> int:
        """Keys times notes: what judging takes grows with it."""
        return len(self.take.notes) * len(self.excerpt.notes)

    def unjudged(self) -> Judgement:
        """What stands in a verdict's place where there is none: it counts for nothing."""
        return Judgement(
            self.excerpt, self.stage, (), (), None, (), (), False, False, True, UNJUDGED,
            is_repetition=False,
        )  # fmt: skip

    def judge(self) -> Judgement:
        """The verdict, here and now."""
        return judge(
            self.excerpt,
            self.take.notes,
            stage=self.stage,
            qpm=self.qpm,
            click_s=self.click_s,
            tolerance=self.tolerance,
            habits=self.habits,
        )
