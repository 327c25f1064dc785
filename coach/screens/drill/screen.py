"""The drill screen: the piano's keys and the computer's come in, the drill answers."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import chain
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.events import Key

from coach.coaching.drill import DrillEvent, DrillState, PlanChanged, RepetitionEnded, StateChanged
from coach.coaching.model import Request
from coach.playing.letter_keyboard import LENGTH_S, VELOCITY, pitch_of
from coach.playing.midi_events import KeyDown, KeyUp, OtherPianos, Pedal, PianoFound, PianoLost
from coach.screens.dialogs import (
    DetailsScreen,
    HandsScreen,
    HelpScreen,
    NoticeScreen,
    PlanScreen,
    WhyScreen,
)
from coach.screens.drill.view import DrillView
from coach.screens.gc_pause import Rests
from coach.screens.inbox import InboxEvent
from coach.screens.judged import Judged
from coach.screens.keymap import COMMANDS
from coach.screens.messages import HandsMoved, WentOn
from coach.screens.wording import assignment_words

TICK_S = 0.05
"""How often the drill is told that time passes."""
LEAVE_S = 1.0
"""How long a verdict that is still to come is waited for on leaving. Our choice."""


class DrillScreen(DrillView):
    """One piece being drilled at a piano, or at the letters of the computer."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(one.keys, one.action, one.name, show=False) for one in COMMANDS
    ]

    _is_left = False
    _is_up = False
    _heard_early: tuple[InboxEvent, ...] = ()
    """What came before the screen stood: the piano may be found while it is being made."""

    def on_mount(self) -> None:
        """Show the first assignment, and let time pass."""
        self._letter_ups: list[KeyUp] = []
        self._rests = Rests()
        if not self.is_there:  # left before it stood
            return
        self.show_who()
        self.show(self.desk.drill.start(self._clock()))
        self.show_unkept(self.desk.save())
        if self.piano is None and not self._has_player:
            self.show(self.desk.drill.piano_lost(self._clock()))
        self.set_interval(TICK_S, self._tick)
        self._is_up = True
        self.hear(self._heard_early)

    @property
    def _has_player(self) -> bool:
        """Whether someone plays who needs no piano."""
        return self.letters

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Nothing can be asked for before it stands, or once it is left."""
        return self._is_up and not self._is_left

    # -- what comes in ----------------------------------------------------------------------

    def hear(self, events: Iterable[InboxEvent]) -> None:
        """What was played, and the piano's coming and going."""
        if not self._is_up:
            self._heard_early += tuple(events)
            return
        self.show(chain.from_iterable(self._answer(event) for event in events))

    def _answer(self, event: InboxEvent) -> tuple[DrillEvent, ...]:
        drill = self.desk.drill
        match event:
            case KeyDown(pitch, velocity, at_s):
                self._rests.strike(at_s)
                if self.goes_on(pitch):
                    self.go_on()
                    return ()
                answer = drill.key_down(pitch, velocity, at_s)
                if not answer:
                    self.show_heard(pitch)
                return answer
            case KeyUp(pitch, at_s):
                return drill.key_up(pitch, at_s)
            case Pedal(controller, value, at_s):
                return drill.pedal(controller, value, at_s)
            case Judged(job, verdict):
                if self.given_out and self.given_out.is_due(job):
                    return drill.judged(job, verdict.result(), self._clock())
                return ()
            case OtherPianos():
                return ()  # the app has it said
            case PianoFound(name):
                self.piano = name
                self.show_who()
                return drill.piano_found(self._clock())
            case PianoLost(_, why):
                self.piano, self._no_piano = None, why
                self.show_who()
                if drill.state is DrillState.NO_PIANO:  # known, but for another reason
                    return (StateChanged(DrillState.NO_PIANO),)
                return () if self._has_player else drill.piano_lost(self._clock())

    def _tick(self) -> None:
        now_s = self._clock()
        while self._letter_ups and self._letter_ups[0].at_s <= now_s:
            up = self._letter_ups.pop(0)
            self.show(self.desk.drill.key_up(up.pitch, up.at_s))
        self.show(self.desk.drill.tick(now_s))
        self._rests.tick(now_s)

    def on_key(self, event: Key) -> None:
        """Letters are piano keys while the makeshift piano is on."""
        pitch = pitch_of(event.character or "", layout=self._settings.keyboard)
        if self.letters and pitch is not None:
            event.stop()
            event.prevent_default()
            at_s = self._clock()
            self._letter_ups.append(KeyUp(pitch, at_s + LENGTH_S))
            self.hear((KeyDown(pitch, VELOCITY, at_s),))

    # -- what the pianist asks for at the computer --------------------------------------------

    def action_request(self, name: str) -> None:
        """Ask the coach for something else."""
        if Request[name] is Request.NEXT and self.is_reached:
            self.go_on()
            return
        self.take_back()
        self.let_go()
        self.show(self.desk.drill.ask(Request[name], self._clock()))

    def go_on(self) -> None:
        """To what comes after the goal that is reached."""
        self.post_message(WentOn())

    def action_pause(self) -> None:
        """Rest, or go on."""
        drill = self.desk.drill
        resting = drill.state in (DrillState.RESTING, DrillState.FINISHED)
        self.show(drill.resume(self._clock()) if resting else drill.pause(self._clock()))

    def action_page(self, by: int) -> None:
        """Turn the page of the window."""
        self.staff.turn(by)

    def action_details(self) -> None:
        """All that was heard in the last repetition."""
        self.app.push_screen(DetailsScreen(self.desk.score, self._ended))

    def action_why(self) -> None:
        """The coach's reasons."""
        self.app.push_screen(WhyScreen(self.desk.why(), self.desk.drill.decision))

    def action_plan(self) -> None:
        """The tasks up to the goal, what is asked for now, and the order, which may be changed."""
        desk = self.desk

        def asked() -> str:
            return assignment_words(desk.score, desk.drill.assignment)

        change, reorder = desk.change_plan, desk.reorder
        self.app.push_screen(
            PlanScreen(
                desk.score,
                desk.plan,
                asked,
                change and (lambda row, what: self._replan(change(row, what, self._clock()))),
                reorder and (lambda order: self._replan(reorder(order, self._clock()))),
            )
        )

    def _replan(self, outcomes: tuple[DrillEvent, ...]) -> str:
        """Show what follows from another plan; answers with what was done."""
        self.take_back()
        self.let_go()
        self.show(outcomes)
        return next((one.said for one in outcomes if isinstance(one, PlanChanged)), "")

    def action_hands(self) -> None:
        """Give notes of this window to the other hand."""
        window = self.desk.drill.excerpt.window
        notes = self.desk.score.notes_between(window.start_quarters, window.end_quarters)
        self.app.push_screen(HandsScreen(self.desk.score, notes), self._move_hands)

    def _move_hands(self, moves: tuple[str, ...] | None) -> None:
        if moves:
            self.post_message(HandsMoved(moves))

    def action_help(self) -> None:
        """All keys and marks."""
        self.app.push_screen(HelpScreen(demo=self.is_demo))

    def action_keyboard(self) -> None:
        """Turn the letters into piano keys, or back."""
        self.letters = not self.letters
        drill, now_s = self.desk.drill, self._clock()
        if self.letters:
            self.show(drill.piano_found(now_s))
        elif self.piano is None:
            self.show(drill.piano_lost(now_s))
        self.show_who()
        self.show_keys()

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
        return " ".join(filter(None, [*self._finish_judging(), self.desk.leave()]))

    def _finish_judging(self) -> list[str]:
        """Keep what is still being judged: its verdict, or what was played."""
        said: list[str] = []
        for job, judgement in self.given_out.rest(LEAVE_S) if self.given_out else ():
            if judgement is None:
                said.append(self.desk.keep_unjudged(job))
            verdict = judgement or job.unjudged()
            for one in self.desk.drill.judged(job, verdict, self._clock()):
                if isinstance(one, RepetitionEnded):
                    self.desk.keep(one)
        return said
