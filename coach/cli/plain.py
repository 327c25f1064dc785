"""Drilling without a screen: lines of text come out, and words typed with Enter go in.

For screen readers, and for logs of a drill. The piano does all that it does at the screen but ask
for something else; that is typed.
"""

from __future__ import annotations

import shlex
import sys
import threading
import time
from argparse import Namespace
from collections.abc import Callable, Iterable
from functools import partial
from pathlib import Path
from queue import Empty, SimpleQueue

from coach.cli.errors import CannotDo
from coach.cli.storage import Storage
from coach.cli.terminal import say, warn
from coach.coaching.drill import (
    CountIn,
    DrillEvent,
    DrillState,
    MovedOn,
    RepetitionEnded,
    ToJudge,
)
from coach.coaching.model import Request
from coach.playing.click_schedule import messages
from coach.playing.midi_events import (
    KeyDown,
    KeyUp,
    MidiEvent,
    Pedal,
    PianoFound,
    PianoLost,
)
from coach.playing.ports import Ports, divert_noise
from coach.score.counting import CountingSystem, syllables
from coach.screens.demo import LessonPlayer
from coach.screens.dialogs import details_text, why_text
from coach.screens.drill import plan_clicks
from coach.screens.interfaces import ClickLike, DrillLike, DrillSession, Errand, piano_words
from coach.screens.plain import PlainDrill

TICK_S = 0.05
"""How often the drill is told that time passes. Own choice, as on the screen."""
REQUESTS = {request.value: request for request in Request}
HELP = (
    f"Type one of these and Enter: {', '.join(REQUESTS)}; pause, why, details, fingers (suggests "
    "them where none are printed), what (what is asked for), help, quit."
)
LESSON_S = 3600.0
"""A simulated lesson ends after an hour, whatever was reached. Own choice."""

Typed = str | None
"""A line that was typed; None where nothing more can be."""


class PlainSession:
    """One piece being drilled in lines of text, and what comes after it."""

    def __init__(
        self,
        session: DrillSession,
        *,
        clock: Callable[[], float],
        counting: CountingSystem,
        click: ClickLike | None = None,
        tell: Callable[[str], None] = say,
        watch: Callable[[DrillEvent, DrillLike], None] | None = None,
        can_ask: bool = True,
    ) -> None:
        """``tell`` writes a line; ``watch`` is told of every outcome, before it is said;
        ``can_ask``: whether anybody can type."""
        self._can_ask = can_ask
        self._clock, self._click, self._tell, self._watch = clock, click, tell, watch
        self._counts = partial(syllables, system=counting)
        self._begin(session)

    def _begin(self, session: DrillSession) -> None:
        self.session = session
        self._lines = PlainDrill(session, self._counts, can_ask=self._can_ask)
        self._tell(session.title)

    @property
    def has_reached_goal(self) -> bool:
        """Whether the goal is reached: then it can be played again, or left."""
        return self.session.drill.state is DrillState.FINISHED

    def start(self) -> None:
        """Say what is asked for."""
        self.show(self.session.drill.start(self._clock()))
        self._tell_if(self.session.save())

    def hear(self, event: MidiEvent) -> None:
        """What was played, and the piano's coming and going."""
        drill = self.session.drill
        match event:
            case KeyDown() | KeyUp() | Pedal():
                self.show(drill.hear(event))
            case PianoFound(name):
                self._tell(f"Piano: {piano_words(name)}.")
                self.show(drill.piano_found(self._clock()))
            case PianoLost(_, why):
                self._tell_if(why)
                self.show(drill.piano_lost(self._clock()))
            case _:
                pass

    def tick(self) -> None:
        """Time passes."""
        self.show(self.session.drill.tick(self._clock()))

    def obey(self, word: str) -> bool:
        """Do what was typed; False for ``quit``."""
        drill, now_s, word = self.session.drill, self._clock(), word.strip().lower()
        if word in ("quit", "home"):
            return False
        if word == Request.NEXT.value and drill.decision.finished and self.session.next_drill:
            self._go_on()
        elif word in REQUESTS:
            self.show(drill.ask(REQUESTS[word], now_s))
        elif word == "pause":
            rests = drill.state in (DrillState.RESTING, DrillState.FINISHED)
            self.show(drill.resume(now_s) if rests else drill.pause(now_s))
        elif word == "why":
            self._tell(why_text(drill.decision))
        elif word == "details":
            self._tell(details_text(self.session.score, self._lines.ended))
        elif word == "fingers":
            self._tell_all(self._lines.switch_fingers())
        elif word == "what":
            self._tell_all(self._lines.repeat())
        elif word:
            self._tell(HELP)
        return True

    def show(self, outcomes: Iterable[DrillEvent]) -> None:
        """Say what the drill answered; keep repetitions; judge; sound the click."""
        for outcome in outcomes:
            if self._watch:
                self._watch(outcome, self.session.drill)
            match outcome:
                case RepetitionEnded():
                    fault = self.session.keep(outcome)  # first: what is said is in the record
                    self._tell_all(self._lines.lines((outcome,)))
                    self._tell_if(fault)
                case ToJudge(job):
                    self.show(self.session.drill.take_verdict(job, job.judge(), self._clock()))
                case CountIn():
                    self._tell_all(self._lines.lines((outcome,)))
                    self._sound(outcome)
                case MovedOn():
                    self._go_on()
                case _:
                    self._tell_all(self._lines.lines((outcome,)))

    def leave(self) -> str:
        """Keep where the drill stands; what is to be said of it."""
        return self.session.leave()

    def _sound(self, count_in: CountIn) -> None:
        drill = self.session.drill
        beats = plan_clicks(self.session.score, drill.excerpt, count_in)
        if self._click and not self._click.play(messages(beats)):
            self._tell("The click can't sound here: it needs a piano that can be played to.")

    def _go_on(self) -> None:
        if coming := self.session.next_drill:
            self._tell_if(self.session.leave())
            self._begin(coming.make(self._clock()))
            self.start()

    def _tell_if(self, sentence: str) -> None:
        if sentence:
            self._tell(sentence)

    def _tell_all(self, lines: Iterable[str]) -> None:
        for line in lines:
            self._tell(line)


def run_live(plain: PlainSession, listen: Callable[[Callable[[MidiEvent], None]], None]) -> int:
    """Drill until ``quit`` is typed, or, where nothing can be typed any more, until the goal is
    reached; ``listen`` begins to post what is played."""
    inbox: SimpleQueue[MidiEvent | Typed] = SimpleQueue()
    listen(inbox.put)
    threading.Thread(target=_read_words, args=(inbox,), name="keyhole-words", daemon=True).start()
    plain.start()
    say(HELP)
    try:
        can_type = True
        while can_type or not plain.has_reached_goal:
            try:
                event = inbox.get(timeout=TICK_S)
            except Empty:
                plain.tick()
                continue
            if event is None:
                can_type = False
            elif not isinstance(event, str):
                plain.hear(event)
            elif not plain.obey(event):
                break
    except KeyboardInterrupt:
        pass
    finally:
        if said := plain.leave():
            warn(said)
    return 0


def _read_words(inbox: SimpleQueue[MidiEvent | Typed]) -> None:
    for line in sys.stdin:
        inbox.put(line)
    inbox.put(None)


class LessonClock:
    """Time that passes only when it is told to: a simulated lesson is over at once."""

    now_s = 0.0

    def __call__(self) -> float:
        """Now."""
        return self.now_s


def run_simulated(plain: PlainSession, player: LessonPlayer, clock: LessonClock) -> int:
    """Have a simulated pianist play until the goal is reached, or as long as a lesson lasts."""
    plain.start()
    while not plain.has_reached_goal and clock.now_s < LESSON_S:
        clock.now_s += TICK_S
        for event in player.take_due(clock.now_s):
            plain.hear(event)
        plain.tick()
        player.begin_when_ready(plain.session.drill, clock.now_s)
    return 0


def drill_plainly(options: Namespace, path: Path, errand: Errand, storage: Storage) -> int:
    """Open the piece and drill it: by a simulated pianist for the demo, else at the piano."""
    from coach.cli.open_score import open_piece
    from coach.cli.wiring import PianoSound, pianist_maker, session_maker

    score = open_piece(path, getattr(options, "move", ()), data=options.data)
    counting = CountingSystem(options.counting or storage.settings.counting)
    make = session_maker(options, storage)
    if errand is Errand.DEMO:
        clock, player = LessonClock(), LessonPlayer(pianist_maker(options)(score))
        session = make(score, path, errand, clock.now_s)
        say("A simulated player plays; nobody real does, and nothing of it is kept.")
        plain = PlainSession(
            session, clock=clock, counting=counting, watch=player.follow, can_ask=False
        )
        status = run_simulated(plain, player, clock)
        say(f"Now you, at the piano: coach drill {shlex.quote(str(path))} --plain")
        return status
    try:
        session = make(score, path, errand, time.perf_counter())
    except ValueError as nothing:
        raise CannotDo(str(nothing)) from None
    divert_noise()
    ports = Ports()
    click = PianoSound(ports)
    try:
        plain = PlainSession(session, clock=time.perf_counter, counting=counting, click=click)
        before = storage.settings.port or None
        return run_live(plain, lambda post: ports.listen(options.port, post, before))
    finally:
        click.close()
        ports.close()
