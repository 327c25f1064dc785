"""Putting a piece on the screen: everything that a drill screen is given, gathered here."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from coach.screens.inbox import Inbox, VerdictArrived
from coach.screens.interfaces import Collaborators, DrillSession, DrillSetup, Errand, Settings

if TYPE_CHECKING:
    from concurrent.futures import Future

    from coach.judging.judge import JudgingJob
    from coach.judging.model import Judgement
    from coach.score.model import Score
    from coach.screens.drill import DrillScreen
    from coach.screens.interfaces import SubmitJob


class PianoStatus:
    """The piano that is heard, as far as the app knows."""

    def __init__(self, why_none: str) -> None:
        self.name: str | None = None
        self.why_none = why_none
        """Why there is none, where it is not just switched off."""
        self.others = ""
        """Which other pianos are there, in a sentence."""
        self.uses_letters = False
        """Whether the letters of the computer stand in for it."""

    def change(self, name: str | None, why_none: str = "") -> None:
        """It was found, or lost."""
        self.name, self.why_none = name, why_none

    def set_others(self, sentence: str) -> None:
        """Others are there, or no longer."""
        self.others = sentence

    def use_letters(self) -> None:
        """Every drill from now on begins with the letters as piano."""
        self.uses_letters = True


class DrillMaker:
    """Makes drill screens. What only a drill needs is imported with the first of them."""

    def __init__(
        self,
        collaborators: Collaborators,
        settings: Settings,
        clock: Callable[[], float],
        piano: PianoStatus,
        inbox: Inbox,
    ) -> None:
        self._collaborators, self.settings, self._clock = collaborators, settings, clock
        self._piano, self._inbox = piano, inbox

    def make(self, score: Score, path: Path, errand: Errand) -> DrillScreen:
        """A screen for a score that is open.

        Raises ValueError, with one sentence for the pianist, where there is nothing to drill.
        """
        return self.make_at(self._collaborators.make_session(score, path, errand, self._clock()))

    def make_at(self, session: DrillSession) -> DrillScreen:
        """A screen for a piece that is open."""
        from coach.screens.drill import DrillScreen, Player

        self.prepare_sound()
        setup = DrillSetup(
            session,
            self.settings,
            self._clock,
            self._collaborators.click,
            self._find_judges(),
            self._collaborators.engraver,
        )
        piano = self._piano
        player = Player(piano.name, why_none=piano.why_none, uses_letters=piano.uses_letters)
        return DrillScreen(setup, player)

    def make_demo(self, score: Score, path: Path, speed: float) -> DrillScreen:
        """A screen at which a simulated pianist plays, where there is one."""
        # Not needed to show the home screen, and a third of the time to import what is.
        from coach.screens.demo import DemoClock, DemoScreen

        if self._collaborators.make_pianist is None:
            return self.make(score, path, Errand.DEMO)
        clock = DemoClock(self._clock, speed)
        session = self._collaborators.make_session(score, path, Errand.DEMO, clock.now())
        pianist = self._collaborators.make_pianist(score)
        return DemoScreen(session, self.settings, clock, pianist, self._collaborators.engraver)

    def prepare_sound(self) -> None:
        """What sounds takes a moment to begin; the first click must not wait for it."""
        if self._collaborators.click:
            self._collaborators.click.prepare()

    def _find_judges(self) -> SubmitJob | None:
        """Who judges long takes; made ready while the pianist looks at the music."""
        judges, inbox = self._collaborators.judges, self._inbox
        if judges is None:
            return None
        judges.start()

        def submit(job: JudgingJob) -> Future[Judgement]:
            return judges.give(job, lambda verdict: inbox.post(VerdictArrived(job, verdict)))

        return submit
