"""The demo: the drill screen with a simulated pianist at the keys."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual.binding import Binding, BindingType

from coach.coaching.drill import DrillEvent
from coach.screens.demo.performer import DemoClock, LessonPlayer
from coach.screens.drill import DrillScreen, Player
from coach.screens.interfaces import DrillSession, DrillSetup, PianistLike, Settings
from coach.screens.keymap import DEMO_COMMANDS
from coach.screens.messages import LettersTaken
from coach.screens.widgets import Engraver

_STEP_S = 0.01
"""How often due keys are played. Own choice: finer than anyone hears."""


class SimulatedPlayer(Player):
    """The player of the demo, on the demo's clock."""

    is_simulated = True

    def __init__(self, clock: DemoClock) -> None:
        super().__init__()
        self._clock = clock

    @property
    def needs_piano(self) -> bool:
        """No: nobody has to wait for one."""
        return False

    @property
    def words(self) -> str:
        """Says that nobody real plays, and how fast the demo goes."""
        if self._clock.stopped:
            return "SIMULATED PLAYER, stopped"
        speed = "" if self._clock.speed == 1 else f", {self._clock.speed:g} times as fast"
        return f"SIMULATED PLAYER{speed}"


class DemoScreen(DrillScreen):
    """A simulated pianist plays; nothing that is heard is kept."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(one.keys, one.action, one.name, show=False) for one in DEMO_COMMANDS
    ]

    def __init__(
        self,
        session: DrillSession,
        settings: Settings,
        clock: DemoClock,
        pianist: PianistLike,
        engraver: Engraver | None = None,
    ) -> None:
        setup = DrillSetup(session, settings, clock.now, engraver=engraver)
        super().__init__(setup, SimulatedPlayer(clock))
        self._demo_clock = clock
        self._lesson = LessonPlayer(pianist)

    def on_mount(self) -> None:
        """Let the player begin."""
        self.set_interval(_STEP_S, self._perform)

    def show(self, outcomes: Iterable[DrillEvent]) -> None:
        """Show what the drill answered; the simulated player goes by it, too."""
        outcomes = tuple(outcomes)
        super().show(outcomes)
        for outcome in outcomes:
            self._lesson.follow(outcome, self.session.drill)

    def _perform(self) -> None:
        now_s = self._clock()
        if due := self._lesson.take_due(now_s):
            self.hear(due)
        self._lesson.begin_when_ready(self.session.drill, now_s)

    def action_hurry(self, steps: int) -> None:
        """Slow the demo down or hurry it."""
        self._demo_clock.hurry(steps)
        self.presenter.show_player()

    def action_stop(self) -> None:
        """Stop the player, or let them go on."""
        self._demo_clock.stop(not self._demo_clock.stopped)
        self.presenter.show_player()

    def action_keyboard(self) -> None:
        """Once the lesson is over, the letters go on with the same passage. Before that the player
        is at the keys."""
        if self.presenter.way_on.is_open:
            self.post_message(LettersTaken())
