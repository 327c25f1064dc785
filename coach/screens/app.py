"""The app: which screen is shown, and who hears the piano. It drills nothing itself.

:class:`DrillMaker` gathers everything that a drill screen is given.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from textual.app import SystemCommand
from textual.binding import Binding, BindingType
from textual.events import Event, InputEvent, Resize
from textual.filter import LineFilter
from textual.geometry import Size
from textual.screen import Screen
from textual.theme import ThemeProvider

from coach.playing.command_keys import ListKeys
from coach.playing.midi_events import (
    ButtonDown,
    KeyDown,
    OtherPianos,
    Pedal,
    PianoFound,
    PianoLost,
)
from coach.screens.dialogs import (
    FIRST_PAINT_S,
    ClickScreen,
    ConnectScreen,
    Dialog,
    HomeScreen,
    LearnScreen,
    Learnt,
    MinutesScreen,
    NoticeScreen,
    OpeningScreen,
    Palette,
    PianistScreen,
    SetupScreen,
    TextScreen,
    TooSmallScreen,
    columns_of_text,
    explain_no_match,
    help_text,
    is_too_small,
)
from coach.screens.ending import AppWithoutTraceback, end_on_signal
from coach.screens.gc_pause import settle_memory
from coach.screens.inbox import Inbox, InboxEvent, VerdictArrived
from coach.screens.interfaces import (
    Collaborators,
    DrillSession,
    DrillSetup,
    Errand,
    Settings,
    Start,
    others_words,
)
from coach.screens.messages import HandsMoved, ScoreOpened, ScoreRefused
from coach.screens.terminal import PrintableOnly

if TYPE_CHECKING:
    from concurrent.futures import Future

    from coach.judging.judge import JudgingJob
    from coach.judging.model import Judgement
    from coach.playing.click_schedule import ClickStyle
    from coach.playing.command_keys import Bound
    from coach.record.progress import PieceProgress
    from coach.score.model import Score
    from coach.screens.drill import DrillScreen
    from coach.screens.interfaces import SubmitJob
    from coach.screens.setup_steps import SetupFound


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


MOST_SCREENS = 12
"""Screens that may lie over each other. Nobody reads more, and Textual draws each through those
over it: from some 40 on that fails. Own choice."""
READ_AGAIN_S = 0.3
"""A goal is left once nothing lies over the drill any more: this is how often that is checked. Own
choice."""
PIANO_WAIT_S = 1.0
"""How long a piano may take to be found, before we say that there is none. Own choice."""
AT_ONCE_S = 0.01
"""As soon as the home screen stands: where there are no ports no piano will come. Own choice."""
OFFER_AGAIN_S = 0.1
"""What can be done without a piano is offered once no score is being opened: this is how often that
is checked. Own choice."""
NO_DIARY = "Nothing of this is kept yet: the diary begins with the first repetition."
NOTICES_S, SETTLE_S = 2 * FIRST_PAINT_S, 3 * FIRST_PAINT_S
"""When the record's notices are shown, and memory is settled: both after the first paint."""


class KeyholeApp(AppWithoutTraceback):
    """Keyhole on the screen."""

    TITLE = "Keyhole"
    CSS = """
    App.-plain ModalScreen > * { border: ascii $foreground; }
    App.-plain ModalScreen > .keys { border: none; }
    App.-plain Input, App.-plain Input:focus { border: ascii $foreground; }
    OptionList, Input, Tree { min-width: 20; }  /* Textual can't fold words into no columns */
    SearchIcon { display: none; }  /* not every terminal has that character */
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+q", "quit", "quit", show=False, priority=True),
        Binding("ctrl+c", "quit", "quit", show=False),  # as everywhere in a terminal
    ]

    def __init__(
        self,
        collaborators: Collaborators,
        settings: Settings | None = None,
        start: Start | None = None,
        *,
        clock: Callable[[], float] = time.perf_counter,
    ) -> None:
        """``clock`` gives seconds; the piano's events must be stamped with the same one."""
        super().__init__()
        self.collaborators = collaborators
        self.settings = settings or Settings()
        self._start = start or Start()
        self._clock = clock
        self._list_keys = ListKeys(self.settings.piano_keys, self.settings.bound)
        self._printable_only = PrintableOnly()
        self._piano = PianoStatus(collaborators.ports_sentence)
        self._inbox: Inbox | None = None
        self._maker: DrillMaker | None = None
        self._opened: Path | None = None
        self.next_pianist: str | None = None
        """Who plays once the app has ended; None where nobody else was chosen."""
        self.unsaid: list[str] = []
        """Sentences that came too late for the screen: whoever ran the app prints them."""
        self._drills: list[DrillScreen] = []
        """The drills on the screen. There may be two: a demo can be opened in a drill."""

    async def on_mount(self) -> None:
        """Show the home screen, and over it what the command line asked for."""
        end_on_signal(self)
        self.set_class(self.settings.ascii_only, "-plain")
        needed = self.collaborators
        await self.push_screen(self._make_home())
        self._inbox = Inbox(self._hear_or_end)
        self._maker = DrillMaker(needed, self.settings, self._clock, self._piano, self._inbox)
        if needed.ports:
            needed.ports.listen(needed.port_wanted, self._inbox.post, needed.port_before)
        if self._start.path:
            self.open(self._start.path, self._start.errand)
        self.set_timer(NOTICES_S, self._say_notices)
        self.check_size()
        if self._start.sets_up:
            self.action_set_up()
        elif self._start.errand is not Errand.DEMO:
            self.set_timer(PIANO_WAIT_S if needed.ports else AT_ONCE_S, self._offer_ways)
        self.set_timer(SETTLE_S, settle_memory)

    def _make_home(self) -> HomeScreen:
        needed, settings = self.collaborators, self.settings
        return HomeScreen(
            needed.library,
            piano=None,
            can_demo=needed.can_demo,
            piano_keys=settings.piano_keys,
            pianist=settings.pianist,
            can_be_another=needed.pianists is not None,
        )

    def _say_notices(self) -> None:
        if isinstance(self.top, OpeningScreen):  # it closes itself, which only the uppermost can
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

    # -- the screens over each other ---------------------------------------------------------

    def get_line_filters(self) -> Sequence[LineFilter]:
        """Textual's own, then ours."""
        return (*super().get_line_filters(), self._printable_only)

    @property
    def top(self) -> Screen[object] | None:
        """The uppermost screen. None while the app ends: timers may still run then."""
        stack = self.screen_stack
        return stack[-1] if stack else None

    async def on_event(self, event: Event) -> None:
        """Handle an event as Textual does, but ignore keys pressed while the program ends."""
        if self.screen_stack or not isinstance(event, InputEvent):
            await super().on_event(event)

    def on_resize(self, event: Resize) -> None:
        """Say so where the terminal is too small for music, until it is large enough."""
        self.check_size(event.size)

    def check_size(self, size: Size | None = None) -> None:
        """Say so where the terminal is too small for music, and take that back where it is not."""
        small = is_too_small(size or self.size)
        if self.top is None:
            return
        if small and not isinstance(self.top, TooSmallScreen):
            self.push_screen(TooSmallScreen())
        elif not small and isinstance(self.top, TooSmallScreen):
            self.pop_screen()

    def push_screen(self, screen: Screen[Any], *args: Any, **how: Any) -> Any:  # type: ignore[override]
        """Show a screen over the others, but not over the one about a terminal too small."""
        if isinstance(self.top, TooSmallScreen):
            self.pop_screen()
        if len(self.screen_stack) > MOST_SCREENS:
            self.pop_screen()
        pushed = super().push_screen(screen, *args, **how)
        if is_too_small(self.size) and not isinstance(screen, TooSmallScreen):
            super().push_screen(TooSmallScreen())
        return pushed

    def close(self, screen: Screen[Any]) -> None:
        """Remove a screen and all that lies over it; but notices over it stay, to be read."""
        if screen not in self.screen_stack:
            return
        notices: list[NoticeScreen] = []
        while (top := self.screen_stack[-1]) is not screen:
            if isinstance(top, NoticeScreen):
                notices.append(top)
            self.pop_screen()
        self.pop_screen()
        for notice in reversed(notices):
            self.push_screen(NoticeScreen(notice.sentence))
        self.check_size()

    # -- the piano --------------------------------------------------------------------------

    def _hear_or_end(self, events: tuple[InboxEvent, ...]) -> None:
        """Hear events. An error ends the app: the event loop, which calls us, would ignore it."""
        try:
            self._hear(events)
        except Exception as error:
            self.end_by(error)

    def _hear(self, events: tuple[InboxEvent, ...]) -> None:
        for event in events:
            if isinstance(event, PianoFound):
                self._change_piano(event.name)
            elif isinstance(event, PianoLost):
                self._change_piano(None, event.why)
            elif isinstance(event, OtherPianos):
                self._change_others(others_words(event.heard, event.names))
        music = tuple(event for event in events if not self._lead(event))
        drill = self.drill
        if drill and not drill.is_demo:
            drill.hear(music)
        elif drill and any(isinstance(event, KeyDown) for event in music):
            drill.take_over()

    def _lead(self, event: InboxEvent) -> bool:
        """Whether it was meant for what lies over the music, or for the home screen."""
        if not isinstance(event, KeyDown | Pedal | ButtonDown):
            return False
        top, step = self.top, self._list_keys.hear(event)
        if isinstance(top, SetupScreen):
            top.hear(event)
            return True
        if isinstance(top, LearnScreen):
            top.hear(event, step)
            return True
        if not isinstance(top, Dialog | HomeScreen):
            return False
        if isinstance(event, KeyDown):
            return top.hear_key(event.pitch, step)
        return step is not None and top.take_step(step)

    def _change_piano(self, name: str | None, why_none: str = "") -> None:
        self._piano.change(name, why_none)
        if name and self._drills and self._maker:
            self._maker.prepare_sound()
        for screen in self.screen_stack:
            if isinstance(screen, HomeScreen | SetupScreen):
                screen.show_piano(name)
        top = self.top
        if name and isinstance(top, ConnectScreen):
            top.dismiss("wait")

    # -- setting the piano up ---------------------------------------------------------------

    def action_set_up(self) -> None:
        """Set the piano up."""
        needed = self.collaborators
        screen = SetupScreen(
            needed.ports,
            needed.click,
            self._clock,
            self._piano.name,
            self._listen_to_next,
            needed.ports_sentence,
        )
        self.push_screen(screen, self._keep_setup)

    def action_choose_pianist(self) -> None:
        """Have someone else play, with their own record: whoever runs the app opens it anew."""

        def change(name: str | None) -> None:
            if name is not None:
                self.next_pianist = name
                self.exit()

        if known := self.collaborators.pianists:
            now = self.settings.pianist
            self.push_screen(PianistScreen(known.names(), now, known.why_not), change)

    def choose_click(self, now: ClickStyle, follow: Callable[[ClickStyle], None]) -> None:
        """Choose how the click sounds, from now on and in another evening."""

        def keep(style: ClickStyle | None) -> None:
            if style is None or style == now:
                return
            follow(style)
            self.settings = replace(self.settings, click=style)
            if self._maker:
                self._maker.settings = self.settings
            if said := self.collaborators.keep_click(style):
                self.push_screen(NoticeScreen(said))

        sound, keys = self.collaborators.click, self.settings.piano_keys
        self.push_screen(ClickScreen(now, sound, self._clock, keys), keep)

    def _listen_to_next(self) -> None:
        """Hear the next of several pianos."""
        ports, inbox = self.collaborators.ports, self._inbox
        names = ports.names_in() if ports else ()
        if ports and inbox and len(names) > 1:
            at = names.index(self._piano.name) if self._piano.name in names else -1
            ports.listen(names[(at + 1) % len(names)], inbox.post)

    def action_choose_click(self) -> None:
        """Choose how the click sounds, at home."""
        self.choose_click(self.settings.click, lambda style: None)

    def action_learn_command(self) -> None:
        """Have a command learnt by example, at home."""
        self.learn_command(None, lambda bound: None)

    def learn_command(self, score: Score | None, follow: Callable[[Bound], None]) -> None:
        """Have a command learnt by example; ``follow`` is told all that is bound then."""

        def keep(learnt: Learnt | None) -> None:
            if learnt is None:
                return
            from coach.screens.setup_steps import SetupFound

            trigger, command = learnt
            self._keep_setup(SetupFound(bound={trigger: command}))
            follow(self.settings.bound)

        self.push_screen(LearnScreen(score, self.settings.piano_keys), keep)

    def _keep_setup(self, found: SetupFound | None) -> None:
        """Go by what was found from now on, and keep it."""
        if found is None:
            return
        if found.bound:  # what was learnt before stays
            found.bound = {**self.settings.bound, **found.bound}
        said = self.collaborators.keep_setup(found, self._piano.name)
        self.settings = replace(
            self.settings,
            piano_keys=found.piano_keys or self.settings.piano_keys,
            bound=found.bound or self.settings.bound,
        )
        self._list_keys = ListKeys(self.settings.piano_keys, self.settings.bound)
        if self._maker:
            self._maker.settings = self.settings
        for screen in self.screen_stack:
            if isinstance(screen, HomeScreen):
                screen.show_list_keys(self.settings.piano_keys)
        if said:
            self.push_screen(NoticeScreen(said))

    def _change_others(self, sentence: str) -> None:
        self._piano.set_others(sentence)
        for screen in self.screen_stack:
            if isinstance(screen, HomeScreen | SetupScreen):
                screen.show_others(sentence)
        self._say_others()

    def _say_others(self) -> None:
        """Say once in a drill that other pianos are there. The home screen says it all the time."""
        drill = self.drill
        if drill and drill.is_mounted and not drill.is_demo and self._piano.others:
            drill.presenter.announcements.say_once(self._piano.others)

    @property
    def drill(self) -> DrillScreen | None:
        """The drill on the screen, also where a dialog lies over it."""
        self._drills = [one for one in self._drills if one in self.screen_stack]
        return self._drills[-1] if self._drills else None

    def _is_demo(self) -> bool:
        drill = self.drill
        return drill is not None and drill.is_demo

    def _offer_ways(self) -> None:
        if self.top is None:
            return
        if isinstance(self.top, OpeningScreen | TooSmallScreen):  # either would cover the offer
            self.set_timer(OFFER_AGAIN_S, self._offer_ways)
        elif self._piano.name is None and not self._is_demo():
            needed = self.collaborators
            why = needed.ports_sentence or self._piano.why_none
            why = why or explain_no_match(needed.port_wanted, needed.ports)
            can_wait = needed.ports is not None
            screen = ConnectScreen(why, can_demo=needed.can_demo, can_wait=can_wait)
            self.push_screen(screen, self._follow_choice)

    def _follow_choice(self, way: str | None) -> None:
        drill = self.drill
        if way == "demo":
            path = self.collaborators.demo_path
            if path:
                self.open(path, Errand.DEMO)
        elif way == "setup":
            self.action_set_up()
        elif way == "letters":
            self._piano.use_letters()
            if drill:
                drill.call_later(drill.action_keyboard)  # once it stands

    # -- a piece ----------------------------------------------------------------------------

    def open(self, path: Path, errand: Errand, moves: Sequence[str] = ()) -> None:
        """Open a score, and drill it when it is open; ``moves`` give notes to the other hand.

        Only one at a time: whoever presses Enter twice does not want it twice.
        """
        if any(isinstance(screen, OpeningScreen | MinutesScreen) for screen in self.screen_stack):
            return
        if errand is Errand.WARM_UP and not self.collaborators.warm_up_min():
            self.push_screen(MinutesScreen(), partial(self._warm_up_in, path))
            return
        self.push_screen(OpeningScreen(self.collaborators.open_score, path, errand, moves))

    def _warm_up_in(self, path: Path, minutes: int | None) -> None:
        """Begin the warm-up, now that it is known how long it may take."""
        if minutes is not None:
            self.collaborators.keep_warm_up_min(minutes)
            self.open(path, Errand.WARM_UP)

    def on_score_refused(self, message: ScoreRefused) -> None:
        """Say why a score can't be opened."""
        self._close_opening()
        self.push_screen(NoticeScreen(message.sentence))
        self.check_size()

    def on_score_opened(self, message: ScoreOpened) -> None:
        """Drill the score that is open now."""
        self._close_opening()
        remarks = [r.text for r in message.score.remarks if r.kind in ("repaired", "left out")]
        try:
            screen = self._make_drill(message)
        except ValueError as nothing:
            self.push_screen(NoticeScreen(str(nothing)))
            return
        self._opened = message.path
        self._show_drill(screen)
        self.call_after_refresh(self._say_others)
        self.call_after_refresh(settle_memory)
        if remarks:
            self.push_screen(NoticeScreen("Before you play:\n" + "\n".join(remarks)))
        self.check_size()

    def _make_drill(self, opened: ScoreOpened) -> DrillScreen:
        assert self._maker is not None  # there since the app began
        if opened.errand is Errand.DEMO:
            return self._maker.make_demo(opened.score, opened.path, self._start.demo_speed)
        return self._maker.make(opened.score, opened.path, opened.errand)

    def _show_drill(self, screen: DrillScreen) -> None:
        self.push_screen(screen)
        self._drills.append(screen)

    def on_went_on(self) -> None:
        """Leave a goal that is reached for what comes after it."""
        drill = self.drill
        next_drill = drill and drill.session.next_drill
        if not drill or not next_drill or not self._maker:
            return
        if self.screen is not drill:  # something is over it, to be read first
            self.set_timer(READ_AGAIN_S, self.on_went_on)
            return
        drill.action_home()  # what is said on leaving stays over the next drill
        session = next_drill.make(self._clock())
        self._opened = session.path or self._opened
        self._show_drill(self._maker.make_at(session))

    def on_letters_taken(self) -> None:
        """The letters play from now on, in place of the demo's player."""
        self._piano.use_letters()
        self.on_went_on()

    def on_hands_moved(self, message: HandsMoved) -> None:
        """Open the piece on the screen once more, with notes given to the other hand."""
        drill = self.drill
        if drill and self._opened:
            drill.action_home()
            self.open(self._opened, Errand.GO_ON, message.moves)

    def _close_opening(self) -> None:
        for screen in self.screen_stack:
            if isinstance(screen, OpeningScreen):
                self.close(screen)

    # -- commands ----------------------------------------------------------------------------

    def search_themes(self) -> None:
        """Show Textual's list of themes in a palette of ours, which closes as our dialogs do."""
        self.push_screen(Palette([ThemeProvider], placeholder="Search for themes…"))

    def action_command_palette(self) -> None:
        """Show every command by its name: one palette at a time, none on a terminal too small."""
        stack = self.screen_stack
        if stack and not any(isinstance(one, Palette | TooSmallScreen) for one in stack):
            self.push_screen(Palette())

    def action_keys(self) -> None:
        """Show all keys and marks."""
        self.push_screen(TextScreen(help_text(columns_of_text(self.size.width))))

    def action_diary(self) -> None:
        """Show the diary of the piece that was played last."""
        self.show_diary(None)

    def show_diary(self, score: Score | None) -> None:
        """Show a piece's diary: that of a score that is open, or of the last piece."""
        from coach.record.pieces import piece_key
        from coach.screens.diary_screen import DiaryScreen

        diaries = self.collaborators.diaries
        pieces = list(diaries.pieces()) if diaries else []
        if diaries is None or not pieces:
            self.push_screen(NoticeScreen(NO_DIARY))
            return
        key = piece_key(score).key if score else pieces[0].key
        first = next((at for at, piece in enumerate(pieces) if piece.key == key), None)
        if first is None:
            self.push_screen(NoticeScreen(NO_DIARY))
            return

        def read(at: int) -> PieceProgress | str:
            return diaries.read(pieces[at], score if at == first else None)

        self.push_screen(DiaryScreen([piece.title for piece in pieces], read, first))

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """Everything that the command palette lists: Textual's own that are of use, and ours."""
        kept = ("Theme", "Quit")  # the others are of no use to a pianist, or are here by our names
        yield from (one for one in super().get_system_commands(screen) if one.title in kept)
        drill = self.drill
        if drill and screen is drill:
            from coach.screens.keymap import COMMANDS, DEMO_COMMANDS

            demo = DEMO_COMMANDS if drill.is_demo else ()
            for one in (*COMMANDS, *demo):
                yield SystemCommand(
                    one.name.capitalize(), one.help, self._make_runner(drill, one.action)
                )

    def _make_runner(self, screen: DrillScreen, action: str) -> Callable[[], None]:
        return lambda: _drop(self.call_later(screen.run_action, action))


def _drop(_: object) -> None:
    """Drop a value that a callback must not return."""
