"""The drill screen: the piano's keys and the computer's come in, the drill answers.

The screen only hands things on: what is played to the drill, what the drill answers to the
presenter, what is pressed to whoever does it. Repetitions that are judged elsewhere are kept in
mind (:class:`PendingJobs`) until their verdict is in.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator
from concurrent.futures import Future
from functools import partial
from itertools import chain
from typing import TYPE_CHECKING, Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.events import Key, Resize
from textual.screen import Screen
from textual.timer import Timer, TimerCallback

from coach.coaching.drill import DrillEvent, DrillState, PlanChanged, RepetitionEnded, StateChanged
from coach.coaching.model import Request
from coach.judging.judge import JudgingJob
from coach.playing.command_keys import (
    Bound,
    CommandListener,
    PianoCommand,
    lay_command_keys,
    leave_out_music,
)
from coach.playing.midi_events import (
    ButtonDown,
    KeyDown,
    KeyUp,
    OtherPianos,
    Pedal,
    PianoFound,
    PianoLost,
)
from coach.score.fingering import FingerAdvice
from coach.screens.dialogs import (
    CommandsScreen,
    HandsScreen,
    NoticeScreen,
    PlanScreen,
    TextScreen,
    WriteScreen,
    columns_of_text,
    details_text,
    help_text,
    why_text,
)
from coach.screens.drill.player import LetterPiano, Player
from coach.screens.drill.presenter import DrillPresenter
from coach.screens.gc_pause import RestCollector
from coach.screens.inbox import InboxEvent, VerdictArrived
from coach.screens.interfaces import DrillSetup
from coach.screens.keymap import COMMANDS
from coach.screens.messages import HandsMoved, WentOn
from coach.screens.widgets import HelpLine
from coach.screens.wording import FINGERS_PRINTED, FINGERS_SUGGESTED, assignment_words

if TYPE_CHECKING:
    from coach.judging.model import Judgement
    from coach.screens.interfaces import SubmitJob


class PendingJobs:
    """What one drill waits for, in the order in which it was played."""

    def __init__(self, submit: SubmitJob) -> None:
        self._submit = submit
        self._pending: list[tuple[JudgingJob, Future[Judgement]]] = []

    def submit(self, job: JudgingJob) -> None:
        """Have a job judged elsewhere."""
        self._pending.append((job, self._submit(job)))

    def remove(self, job: JudgingJob) -> bool:
        """Wait for this job no longer; whether it was waited for."""
        count = len(self._pending)
        self._pending = [one for one in self._pending if one[0] is not job]
        return len(self._pending) < count

    def wait_for_all(self, within_s: float) -> Iterator[tuple[JudgingJob, Judgement | None]]:
        """Every job still waited for, with its verdict, or None where it does not come in time."""
        until_s = time.monotonic() + within_s
        pending, self._pending = self._pending, []
        for job, verdict in pending:
            try:
                yield job, verdict.result(max(until_s - time.monotonic(), 0.0))
            except Exception:  # too late, given up, or a fault of ours: no reason to lose the job
                yield job, None


TICK_S = 0.05
"""How often the drill is told that time passes. Own choice: silence ends a repetition, and nobody
sees twenty milliseconds more of it."""
LEAVE_S = 1.0
"""How long a verdict that is still to come is waited for on leaving. Our choice."""


_REQUESTS = {
    PianoCommand.SLOWER: Request.SLOWER,
    PianoCommand.FASTER: Request.FASTER,
    PianoCommand.SMALLER: Request.SMALLER,
    PianoCommand.LARGER: Request.LARGER,
    PianoCommand.OTHER_HAND: Request.OTHER_HAND,
    PianoCommand.NEXT: Request.NEXT,
    PianoCommand.AGAIN: Request.AGAIN,
    PianoCommand.NOT_THIS: Request.NOT_THIS,
}


_HEARD_OTHERWISE = {
    PianoCommand.SLOWER: "slower",
    PianoCommand.FASTER: "faster",
    PianoCommand.CLICK: "click",
    PianoCommand.OTHER_HAND: "hands",
    PianoCommand.LARGER: "louder",
    PianoCommand.SMALLER: "softer",
}
"""What a command means while something is heard (:attr:`Listening.ways`)."""
_HEARD_BY_KEY = {"SLOWER": "slower", "FASTER": "faster", "OTHER_HAND": "hands"}
"""The same for the computer's keys of requests."""


class DrillScreen(Screen[None]):
    """One piece being drilled at a piano, or at the letters of the computer."""

    DEFAULT_CSS = """
    DrillScreen { layout: vertical; }
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(one.keys, one.action, one.name, show=False) for one in COMMANDS
    ]

    def __init__(self, setup: DrillSetup, player: Player) -> None:
        super().__init__()
        self.session = setup.session
        self.player = player
        self._clock = setup.clock
        self._letter_piano = LetterPiano(setup.settings.keyboard)
        self._pending = PendingJobs(setup.submit) if setup.submit else None
        self._collector = RestCollector()
        self._last_key_s: float | None = None
        pitches = [note.pitch for note in setup.session.score.notes]
        self._command_keys = lay_command_keys(min(pitches), max(pitches), setup.settings.piano_keys)
        bound = leave_out_music(setup.settings.bound, setup.session.score)
        self._commands = CommandListener(self._command_keys, bound)
        self._piano_keys = setup.settings.piano_keys
        self.presenter = DrillPresenter(setup, player, self, self._judge, self._command_keys)
        self._is_left = self._is_up = False
        self._early_events: tuple[InboxEvent, ...] = ()
        """What came before the screen stood: the piano may be found while it is being made."""

    def compose(self) -> ComposeResult:
        """The presenter's parts, from the top."""
        yield from self.presenter.widgets()

    def on_mount(self) -> None:
        """Show the first assignment, and let time pass."""
        if not self.is_there:  # left before it stood
            return
        drill = self.session.drill
        self.presenter.show_player()
        self.show(drill.start(self._clock()))
        self.presenter.announcements.show_record_fault(self.session.save())
        if self.player.piano is None and self.player.needs_piano:
            self.show(drill.piano_lost(self._clock()))
        self.set_interval(TICK_S, self._tick)
        self._is_up = True
        self.hear(self._early_events)

    # -- whether it stands ------------------------------------------------------------------

    @property
    def is_there(self) -> bool:
        """Whether it is on the screen, with all its widgets: not once it is left, or all ends."""
        return self in self.app.screen_stack and bool(self.query(HelpLine))

    @property
    def is_demo(self) -> bool:
        """Whether a simulated player is at the keys."""
        return self.player.is_simulated

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Nothing can be asked for before it stands, or once it is left."""
        return self._is_up and not self._is_left

    def set_timer(self, delay: float, callback: TimerCallback | None = None, **how: Any) -> Timer:
        """As every screen's; but what was to be shown on it comes to nothing once it is left."""
        return super().set_timer(
            delay, callback and partial(self._call_while_there, callback), **how
        )

    def set_interval(
        self, interval: float, callback: TimerCallback | None = None, **how: Any
    ) -> Timer:
        """The same, again and again."""
        there = callback and partial(self._call_while_there, callback)
        return super().set_interval(interval, there, **how)

    def _call_while_there(self, callback: TimerCallback) -> Any:
        return callback() if self.is_there else None

    # -- what comes in ----------------------------------------------------------------------

    def hear(self, events: Iterable[InboxEvent]) -> None:
        """What was played, and the piano's coming and going."""
        if not self._is_up:
            self._early_events += tuple(events)
            return
        self.show(chain.from_iterable(self._answer(event) for event in events))

    def show(self, outcomes: Iterable[DrillEvent]) -> None:
        """Show what the drill answered."""
        self.presenter.show(outcomes)

    def _answer(self, event: InboxEvent) -> tuple[DrillEvent, ...]:
        drill = self.session.drill
        match event:
            case KeyDown(pitch, _, at_s):
                self._last_key_s = at_s
                is_playing = drill.state is DrillState.PLAYING
                command = self._commands.hear(event, is_playing=is_playing)
                if not is_playing and self._ask_by_key(pitch, command):
                    return ()
                answer = drill.hear(event)
                self.presenter.company.hear(answer, at_s)
                if not answer:
                    self.presenter.announcements.name_key(pitch)
                return answer
            case KeyUp():
                return drill.hear(event)
            case Pedal() | ButtonDown():
                is_playing = drill.state is DrillState.PLAYING
                command = self._commands.hear(event, is_playing=is_playing)
                if command and not self.is_demo:
                    self._ask(command)
                elif isinstance(event, Pedal):
                    return drill.hear(event)
                return ()
            case VerdictArrived(job, verdict):
                if self._pending and self._pending.remove(job):
                    return drill.take_verdict(job, verdict.result(), self._clock())
                return ()
            case OtherPianos():
                return ()  # the app has it said
            case PianoFound(name):
                self.player.find_piano(name)
                self.presenter.show_player()
                return drill.piano_found(self._clock())
            case PianoLost(_, why):
                self.player.lose_piano(why)
                self.presenter.show_player()
                if drill.state is DrillState.NO_PIANO:  # known, but for another reason
                    return (StateChanged(DrillState.NO_PIANO),)
                return drill.piano_lost(self._clock()) if self.player.needs_piano else ()

    def _ask_by_key(self, pitch: int, command: PianoCommand | None) -> bool:
        """Whether a key asked for something; any key ends what sounds."""
        listening = self.presenter.listening
        if self.presenter.way_on.is_struck(pitch):
            listening.stop()
            self.go_on()
        elif command is None or self.is_demo:
            listening.stop()
            return False
        else:
            self._ask(command)
        return True

    def _ask(self, command: PianoCommand) -> None:
        """Something was asked for from the piano; what sounds is heard in another way, or ends."""
        listening = self.presenter.listening
        if (way := _HEARD_OTHERWISE.get(command)) in listening.ways:
            self.action_hear_as(str(way))
            return
        was_listening = listening.is_running
        listening.stop()
        if not (was_listening and command is PianoCommand.HEAR):
            self.obey(command)

    def obey(self, command: PianoCommand | None) -> None:
        """Do what was asked for from the piano; None: nothing was, after all."""
        match command:
            case None:
                pass
            case PianoCommand.HEAR:
                self.action_hear()
            case PianoCommand.HEAR_MINE:
                self.action_hear_mine(1.0)
            case PianoCommand.LOOP:
                self.action_hear_as("loops")
            case PianoCommand.PAUSE:
                self.action_pause()
            case PianoCommand.WITH_ME:
                self.action_accompany()
            case PianoCommand.CLICK:
                self.action_click()
            case PianoCommand.WHY:
                self.action_why()
            case PianoCommand.DETAILS:
                self.action_details()
            case PianoCommand.PLAN:
                self.action_plan()
            case PianoCommand.HOME:
                self.action_home()
            case PianoCommand.MORE:
                self.app.push_screen(CommandsScreen(self._piano_keys), self.obey)
            case _:
                self.action_request(_REQUESTS[command].name)

    def _tick(self) -> None:
        now_s = self._clock()
        for up in self._letter_piano.take_releases(now_s):
            self.show(self.session.drill.hear(up))
        self.show(self.session.drill.tick(now_s))
        self.presenter.foresight.take_step(now_s, self._last_key_s)
        self._collector.tick(now_s, self._last_key_s)

    def _judge(self, job: JudgingJob) -> None:
        """Have a repetition judged elsewhere, where there is somewhere; else at once."""
        if self._pending is None:
            self.show(self.session.drill.take_verdict(job, job.judge(), self._clock()))
            return
        self._pending.submit(job)
        self.presenter.show_waiting()

    def on_key(self, event: Key) -> None:
        """Letters are piano keys while the makeshift piano is on."""
        if not self.player.uses_letters:
            return
        key = self._letter_piano.strike(event.character or "", self._clock())
        if key is not None:
            event.stop()
            event.prevent_default()
            self.hear((key,))

    def on_resize(self, event: Resize) -> None:
        """Find out again what fits."""
        self.presenter.fit()

    def on_page_turned(self) -> None:
        """Say which page it is."""
        self.presenter.top.show_page()

    # -- what the pianist asks for at the computer --------------------------------------------

    def action_request(self, name: str) -> None:
        """Ask the coach for something else; of what is heard, another tempo or hand."""
        if (way := _HEARD_BY_KEY.get(name)) in self.presenter.listening.ways:
            self.action_hear_as(str(way))
        elif Request[name] is Request.NEXT and self.presenter.way_on.is_open:
            self.go_on()
        else:
            self.presenter.answer_request(self.session.drill.ask(Request[name], self._clock()))

    def take_over(self) -> None:
        """Somebody plays while a simulated player is at the keys: once the lesson is over it goes
        on with them."""
        if self.is_demo and self.presenter.way_on.is_open:
            self.go_on()

    def go_on(self) -> None:
        """To what comes after the goal that is reached; home where nothing does."""
        if self.session.next_drill:
            self.post_message(WentOn())
        else:
            self.action_home()

    def action_pause(self) -> None:
        """Rest, or go on."""
        drill = self.session.drill
        resting = drill.state in (DrillState.RESTING, DrillState.FINISHED)
        self.show(drill.resume(self._clock()) if resting else drill.pause(self._clock()))

    def action_hear(self) -> None:
        """Hear the window as it is written; silence where it sounds."""
        listening = self.presenter.listening
        if listening.is_running:
            listening.stop()
        else:
            self._say(listening.hear_window())

    def action_hear_as(self, what: str) -> None:
        """Hear the window in another way."""
        self._say(self.presenter.listening.hear_otherwise(what))

    def action_hear_mine(self, slower: float) -> None:
        """Hear the last repetition from the place that failed, then as it is written."""
        ended = self.presenter.verdict.ended
        self._say(self.presenter.listening.hear_take(ended, slower=slower))

    def _say(self, sentence: str) -> None:
        if sentence:
            self.presenter.foot.take_back_proposal()
            self.presenter.announcements.propose(sentence)

    def action_accompany(self) -> None:
        """Have the other hand played along, or no more."""
        self._say(self.presenter.company.toggle())
        self.presenter.top.show_assignment()

    def action_click(self) -> None:
        """Choose how the click sounds; while the window is heard, with it or without."""
        if self.presenter.listening.is_hearing_window:
            return self.action_hear_as("click")
        from coach.screens.app import KeyholeApp

        assert isinstance(self.app, KeyholeApp)
        click = self.presenter.click
        self.app.choose_click(click.style, click.set_style)

    def action_learn(self) -> None:
        """Learn by example what asks for something."""
        from coach.screens.app import KeyholeApp

        assert isinstance(self.app, KeyholeApp)
        score = self.session.score

        def follow(bound: Bound) -> None:
            self._commands = CommandListener(self._command_keys, leave_out_music(bound, score))

        self.app.learn_command(score, follow)

    def action_page(self, by: int) -> None:
        """Turn the page of the window."""
        self.presenter.staff.turn(by)

    def action_music_size(self, by: int) -> None:
        """Larger or smaller notes."""
        self.presenter.staff.resize_music(by)
        self.presenter.foot.choose_rows()

    def action_fingers(self) -> None:
        """Suggest fingers where none are printed, or no more."""
        staff = self.presenter.staff
        staff.suggest_fingers(None if staff.suggests_fingers else FingerAdvice(self.session.score))
        self.presenter.foot.choose_rows()
        self._say(FINGERS_SUGGESTED if staff.suggests_fingers else FINGERS_PRINTED)

    def action_details(self) -> None:
        """All that was heard in the last repetition."""
        text = details_text(self.session.score, self.presenter.verdict.ended)
        self.app.push_screen(TextScreen(text))

    def action_why(self) -> None:
        """The coach's reasons."""
        self.app.push_screen(TextScreen(why_text(self.session.drill.decision)))

    def action_diary(self) -> None:
        """The map of this piece, and its days."""
        from coach.screens.app import KeyholeApp

        assert isinstance(self.app, KeyholeApp)
        self.app.show_diary(None if self.is_demo else self.session.score)

    def action_plan(self) -> None:
        """The tasks up to the goal, what is asked for now, and the order, which may be changed."""
        session = self.session

        def asked() -> str:
            return assignment_words(session.score, session.drill.assignment)

        change, reorder = session.change_plan, session.reorder
        self.app.push_screen(
            PlanScreen(
                session.score,
                session.plan,
                asked,
                change and (lambda row, what: self._replan(change(row, what, self._clock()))),
                reorder and (lambda order: self._replan(reorder(order, self._clock()))),
            )
        )

    def _replan(self, outcomes: tuple[DrillEvent, ...]) -> str:
        """Show what follows from another plan; answers with what was done."""
        self.presenter.answer_request(outcomes)
        return next((one.said for one in outcomes if isinstance(one, PlanChanged)), "")

    def action_hands(self) -> None:
        """Give notes of this window to the other hand."""
        window = self.session.drill.excerpt.window
        notes = self.session.score.notes_between(window.start_quarters, window.end_quarters)
        self.app.push_screen(HandsScreen(self.session.score, notes), self._move_hands)

    def action_write(self) -> None:
        """Write a fingering or a note into the piece."""
        score, window = self.session.score, self.session.drill.excerpt.window
        first, last = score.bars_of(window.start_quarters, window.end_quarters)
        self.app.push_screen(WriteScreen(score, first, last), self._move_hands)

    def _move_hands(self, moves: tuple[str, ...] | None) -> None:
        if moves:
            self.post_message(HandsMoved(moves))

    def action_help(self) -> None:
        """All keys and marks."""
        piano = () if self.is_demo or not self.player.piano else self._command_keys
        columns = columns_of_text(self.app.size.width)
        self.app.push_screen(TextScreen(help_text(columns, demo=self.is_demo, piano=piano)))

    def action_keyboard(self) -> None:
        """Turn the letters into piano keys, or back."""
        self.player.toggle_letters()
        drill, now_s = self.session.drill, self._clock()
        if self.player.uses_letters:
            self.show(drill.piano_found(now_s))
        elif self.player.piano is None:
            self.show(drill.piano_lost(now_s))
        self.presenter.show_player()
        self.presenter.foot.show_keys()

    # -- leaving ----------------------------------------------------------------------------

    def action_home(self) -> None:
        """Leave this piece; where it stands is kept."""
        from coach.screens.app import KeyholeApp

        assert isinstance(self.app, KeyholeApp)
        sentence = self._leave()
        self.app.close(self)
        if sentence:
            self.app.push_screen(NoticeScreen(sentence))

    def on_unmount(self) -> None:
        """Keep where it stands also where the program ends in the middle of a drill."""
        from coach.screens.app import KeyholeApp

        said = self._leave()
        if said and isinstance(self.app, KeyholeApp):
            self.app.unsaid.append(said)

    def _leave(self) -> str:
        if self._is_left:
            return ""
        self._is_left = True
        self.presenter.listening.stop(goes_on=False)
        return " ".join(filter(None, [*self._finish_judging(), self.session.leave()]))

    def _finish_judging(self) -> list[str]:
        """Keep what is still being judged: its verdict, or what was played."""
        said: list[str] = []
        for job, judgement in self._pending.wait_for_all(LEAVE_S) if self._pending else ():
            if judgement is None:
                said.append(self.session.keep_unjudged(job))
            verdict = judgement or job.make_unjudged()
            for one in self.session.drill.take_verdict(job, verdict, self._clock()):
                if isinstance(one, RepetitionEnded):
                    self.session.keep(one)
        return said
