"""The app: which screen is shown, and who hears the piano. It drills nothing itself."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from coach.playing.events import KeyDown, OtherPianos, PianoFound, PianoLost
from coach.screens.app_frame import AppFrame
from coach.screens.collaborators import Collaborators, Desk, Errand, Settings, Start
from coach.screens.connect import ConnectScreen, unheard
from coach.screens.ending import end_when_told
from coach.screens.home import FIRST_PAINT_S, HomeScreen
from coach.screens.inbox import Inbox, InboxEvent
from coach.screens.judged import Judged
from coach.screens.memory import settle_memory
from coach.screens.messages import HandsMoved, ScoreOpened, ScoreRefused
from coach.screens.notices import NoticeScreen, SheetScreen, TooSmallScreen
from coach.screens.opening import OpeningScreen
from coach.screens.pianos import others_words

if TYPE_CHECKING:
    from concurrent.futures import Future

    from coach.judging.facts import Judgement
    from coach.judging.job import JudgingJob
    from coach.score.model import Score
    from coach.screens.drill_screen import DrillScreen
    from coach.screens.given_out import Giving

READ_AGAIN_S = 0.3
"""How often it is looked whether what is over the drill has gone, where it is to go on."""
PIANO_WAIT_S = 1.0
"""How long a piano may take to be found before it is said that there is none."""


class KeyholeApp(AppFrame):
    """Keyhole on the screen."""

    def __init__(
        self,
        collaborators: Collaborators,
        settings: Settings | None = None,
        start: Start | None = None,
        *,
        clock: Callable[[], float] = time.perf_counter,
    ) -> None:
        """``clock`` is the one that the piano's events are stamped with, in seconds."""
        super().__init__()
        self.collaborators = collaborators
        self.settings = settings or Settings()
        self._start = start or Start()
        self._clock = clock
        self._piano: str | None = None
        self._no_piano = self.collaborators.ports_sentence
        self._others = ""
        self._inbox: Inbox | None = None
        self._letters = False
        self._opened: Path | None = None
        self._drills: list[DrillScreen] = []
        """Those on the screen: a demo may be looked at in the middle of a drill."""

    async def on_mount(self) -> None:
        """Home first; over it whatever was asked for on the command line."""
        end_when_told(self)
        self.set_class(self.settings.ascii_only, "-plain")
        given = self.collaborators
        await self.push_screen(HomeScreen(given.library, piano=None, can_demo=given.can_demo))
        self._inbox = Inbox(self._hear_or_end)
        if given.ports:
            given.ports.listen(given.port_wanted, self._inbox.post)
        if self._start.path:
            self.open(self._start.path, self._start.errand)
        self.set_timer(2 * FIRST_PAINT_S, self._say_notices)
        self.mind_size()
        if self._start.errand is not Errand.DEMO:
            self.set_timer(PIANO_WAIT_S if given.ports else 0.01, self._offer_ways)
        self.set_timer(3 * FIRST_PAINT_S, settle_memory)

    def _say_notices(self) -> None:
        if isinstance(self.top, OpeningScreen):  # it is to go by itself, and must be on top for it
            self.set_timer(FIRST_PAINT_S, self._say_notices)
            return
        for notice in reversed(self.collaborators.notices()):
            self.push_screen(NoticeScreen(notice))

    def on_unmount(self) -> None:
        """Let go of the ports."""
        if self._inbox:
            self._inbox.close()
        if self.collaborators.ports:
            self.collaborators.ports.close()

    # -- the piano --------------------------------------------------------------------------

    def _hear_or_end(self, events: tuple[InboxEvent, ...]) -> None:
        """Called by the event loop itself, which would pass over a mistake of ours unsaid."""
        try:
            self._hear(events)
        except Exception as error:
            self.end_by(error)

    def _hear(self, events: tuple[InboxEvent, ...]) -> None:
        for event in events:
            if isinstance(event, PianoFound):
                self._piano_changed(event.name)
            elif isinstance(event, PianoLost):
                self._piano_changed(None, event.why)
            elif isinstance(event, OtherPianos):
                self._others_changed(others_words(event.heard, event.names))
            elif isinstance(event, KeyDown) and isinstance(self.top, SheetScreen):
                self.top.dismiss()  # no hand is free for the computer
        drill = self.drill
        if drill and not drill.is_demo:
            drill.hear(events)

    def _piano_changed(self, name: str | None, why: str = "") -> None:
        self._piano, self._no_piano = name, why
        for screen in self.screen_stack:
            if isinstance(screen, HomeScreen):
                screen.show_piano(name)
        top = self.top
        if name and isinstance(top, ConnectScreen):
            top.dismiss("wait")

    def _others_changed(self, sentence: str) -> None:
        self._others = sentence
        for screen in self.screen_stack:
            if isinstance(screen, HomeScreen):
                screen.show_others(sentence)
        self._say_others()

    def _say_others(self) -> None:
        """Once at the drill; at home it stands as long as it is so."""
        drill = self.drill
        if drill and drill.is_mounted and not drill.is_demo and self._others:
            drill.say_once(self._others)

    @property
    def drill(self) -> DrillScreen | None:
        """The drill that is on the screen, also under a small screen."""
        self._drills = [one for one in self._drills if one in self.screen_stack]
        return self._drills[-1] if self._drills else None

    def _is_demo(self) -> bool:
        drill = self.drill
        return drill is not None and drill.is_demo

    def _offer_ways(self) -> None:
        if self.top is None:
            return
        if isinstance(self.top, OpeningScreen | TooSmallScreen):  # these would cover the offer
            self.set_timer(PIANO_WAIT_S / 10, self._offer_ways)
        elif self._piano is None and not self._is_demo():
            given = self.collaborators
            why = given.ports_sentence or self._no_piano or unheard(given.port_wanted, given.ports)
            can_wait = given.ports is not None
            screen = ConnectScreen(why, can_demo=given.can_demo, can_wait=can_wait)
            self.push_screen(screen, self._go_way)

    def _go_way(self, way: str | None) -> None:
        drill = self.drill
        if way == "demo":
            path = self.collaborators.demo_path
            if path:
                self.open(path, Errand.DEMO)
        elif way == "letters":
            self._letters = True
            if drill:
                drill.call_later(drill.action_keyboard)  # once it stands

    # -- a piece ----------------------------------------------------------------------------

    def open(self, path: Path, errand: Errand, moves: Sequence[str] = ()) -> None:
        """Open a score, and drill it when it is open; ``moves`` give notes to the other hand.

        One at a time: who strikes Enter twice does not want it twice.
        """
        if any(isinstance(screen, OpeningScreen) for screen in self.screen_stack):
            return
        self.push_screen(OpeningScreen(self.collaborators.open_score, path, errand, moves))

    def on_score_refused(self, message: ScoreRefused) -> None:
        """Say why."""
        self._close_opening()
        self.push_screen(NoticeScreen(message.sentence))
        self.mind_size()

    def on_score_opened(self, message: ScoreOpened) -> None:
        """Drill it."""
        self._close_opening()
        remarks = [r.text for r in message.score.remarks if r.kind in ("repaired", "left out")]
        try:
            screen = self._drill_screen(message.score, message.path, message.errand)
        except ValueError as nothing:
            self.push_screen(NoticeScreen(str(nothing)))
            return
        self._opened = message.path
        self._show_drill(screen)
        self.call_after_refresh(self._say_others)
        self.call_after_refresh(settle_memory)
        if remarks:
            self.push_screen(NoticeScreen("Before you play:\n" + "\n".join(remarks)))
        self.mind_size()

    def _drill_screen(self, score: Score, path: Path, errand: Errand) -> DrillScreen:
        # Not needed to show the home screen, and a third of the time to import what is.
        from coach.screens.demo_screen import DemoScreen
        from coach.screens.player import DemoClock

        given = self.collaborators
        if errand is Errand.DEMO and given.make_pianist:
            clock = DemoClock(self._clock, self._start.demo_speed)
            desk = given.make_desk(score, path, errand, clock.now())
            return DemoScreen(desk, self.settings, clock, given.make_pianist(score))
        return self._drill_at(given.make_desk(score, path, errand, self._clock()))

    def _show_drill(self, screen: DrillScreen) -> None:
        self.push_screen(screen)
        self._drills.append(screen)

    def _drill_at(self, desk: Desk) -> DrillScreen:
        from coach.screens.drill_screen import DrillScreen

        return DrillScreen(
            desk,
            self.settings,
            self._clock,
            piano=self._piano,
            no_piano=self._no_piano,
            click=self.collaborators.click,
            letters=self._letters,
            give=self._giving(),
        )

    def _giving(self) -> Giving | None:
        """Who judges long takes; made ready while the pianist looks at the music."""
        judges, inbox = self.collaborators.judges, self._inbox
        if judges is None or inbox is None:
            return None
        judges.start()

        def give(job: JudgingJob) -> Future[Judgement]:
            return judges.give(job, lambda verdict: inbox.post(Judged(job, verdict)))

        return give

    def on_went_on(self) -> None:
        """From a goal that is reached to what comes after it."""
        drill = self.drill
        onward = drill and drill.desk.onward
        if not drill or not onward:
            return
        if self.screen is not drill:  # something is over it, to be read first
            self.set_timer(READ_AGAIN_S, self.on_went_on)
            return
        drill.action_home()  # what is said on leaving stays over the next drill
        desk = onward.make(self._clock())
        self._opened = desk.path or self._opened
        self._show_drill(self._drill_at(desk))

    def on_hands_moved(self, message: HandsMoved) -> None:
        """Give notes of the piece on the screen to the other hand: it is opened anew so."""
        drill = self.drill
        if drill and self._opened:
            drill.action_home()
            self.open(self._opened, Errand.GO_ON, message.moves)

    def _close_opening(self) -> None:
        for screen in self.screen_stack:
            if isinstance(screen, OpeningScreen):
                self.close(screen)
