"""The demo: the drill screen with a simulated pianist at the keys, and the demo's clock.

The demo can be slowed down and hurried. It has a clock of its own for that: the coach sees the same
times at every speed, so no verdict depends on it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from heapq import heapify, heappop
from typing import ClassVar

from textual.binding import Binding, BindingType

from coach.coaching.drill import AssignmentGiven, CountIn, DrillEvent, DrillState, SetAside
from coach.playing.midi_events import KeyDown, KeyUp
from coach.playing.notes import PlayedNote
from coach.screens.drill import DrillScreen, Player
from coach.screens.interfaces import DrillLike, DrillSession, DrillSetup, PianistLike, Settings
from coach.screens.keymap import DEMO_COMMANDS
from coach.screens.messages import LettersTaken
from coach.screens.widgets import Engraver

SPEEDS = (0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0)
"""How many of the demo's seconds pass in one. Own choice."""

_HELD_S = 0.3
"""How long a key is held whose note says nothing of it. Own choice."""


class DemoClock:
    """Seconds that pass slower or faster than the clock's, or stand still.

    It begins at the one of ``SPEEDS`` that is nearest to ``speed``.
    """

    def __init__(self, clock: Callable[[], float], speed: float = 1.0) -> None:
        self._clock = clock
        self._since = clock()
        self._base_s = self._since
        self._place = min(range(len(SPEEDS)), key=lambda at: abs(SPEEDS[at] - speed))
        self.stopped = False

    @property
    def speed(self) -> float:
        """Demo seconds in a second."""
        return SPEEDS[self._place]

    def now(self) -> float:
        """The demo's time in seconds."""
        passed = 0.0 if self.stopped else self._clock() - self._since
        return self._base_s + passed * self.speed

    def hurry(self, steps: int) -> None:
        """Faster by so many steps; slower where it is negative."""
        self._settle()
        self._place = min(max(self._place + steps, 0), len(SPEEDS) - 1)

    def stop(self, stopped: bool) -> None:
        """Stand still, or go on."""
        self._settle()
        self.stopped = stopped

    def _settle(self) -> None:
        self._base_s, self._since = self.now(), self._clock()


class Performance:
    """The key strokes that are still to come."""

    def __init__(self) -> None:
        self._waiting: list[tuple[float, int, KeyDown | KeyUp]] = []

    @property
    def is_over(self) -> bool:
        """Whether nothing is left to play."""
        return not self._waiting

    def play(self, notes: tuple[PlayedNote, ...]) -> None:
        """These notes in place of any that still wait."""
        events: list[KeyDown | KeyUp] = []
        for note in notes:
            events.append(KeyDown(note.pitch, note.velocity, note.onset_s))
            events.append(KeyUp(note.pitch, note.onset_s + (note.length_s or _HELD_S)))
        self._waiting = [(event.at_s, place, event) for place, event in enumerate(events)]
        heapify(self._waiting)

    def drop(self) -> None:
        """Play none of what still waits."""
        self._waiting = []

    def take_due(self, now_s: float) -> tuple[KeyDown | KeyUp, ...]:
        """The keys that are due by now, in order; each is given once."""
        out = []
        while self._waiting and self._waiting[0][0] <= now_s:
            out.append(heappop(self._waiting)[2])
        return tuple(out)


BREATH_S = 2.5
"""Between two repetitions of the simulated pianist: time to read the verdict. Own choice."""


class LessonPlayer:
    """A simulated pianist at the keys of a drill; what time it is, is an argument.

    They go by what the drill answers: a click is played with from the count-in on, and what is no
    longer asked for is not played to its end.
    """

    def __init__(self, pianist: PianistLike) -> None:
        self._pianist = pianist
        self._performance = Performance()
        self._begin_s: float | None = None

    def follow(self, outcome: DrillEvent, drill: DrillLike) -> None:
        """Go by what the drill answered."""
        match outcome:
            case CountIn(first_beat_s, beat_s, count_in_beats):
                self._play(drill, first_beat_s + count_in_beats * beat_s)
            case AssignmentGiven() | SetAside():
                self._performance.drop()
                self._begin_s = None
            case _:
                pass

    def take_due(self, now_s: float) -> tuple[KeyDown | KeyUp, ...]:
        """The keys that are due by now, in order; each is given once."""
        return self._performance.take_due(now_s)

    def begin_when_ready(self, drill: DrillLike, now_s: float) -> None:
        """Begin again after a breath, where the drill waits for it."""
        if not self._performance.is_over or drill.state is not DrillState.READY:
            self._begin_s = None
        elif self._begin_s is None:
            self._begin_s = now_s + BREATH_S
        elif now_s >= self._begin_s:
            self._play(drill, now_s)

    def _play(self, drill: DrillLike, start_s: float) -> None:
        notes = self._pianist.play(drill.excerpt, drill.assignment.qpm, start_s=start_s)
        self._performance.play(notes)


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
