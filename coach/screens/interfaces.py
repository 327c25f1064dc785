"""What the screens need from outside, as small protocols. The command line provides them."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Protocol, TypeAlias

from coach.playing.click_schedule import USUAL, ClickStyle
from coach.playing.command_keys import PianoCommand, Trigger
from coach.playing.letter_keyboard import Layout
from coach.playing.midi_events import KeyEvent
from coach.playing.ports import BRIDGES
from coach.score.counting import CountingSystem

if TYPE_CHECKING:
    from textual.geometry import Size
    from textual.message import Message
    from textual.timer import Timer, TimerCallback

    from coach.coaching.drill import DrillEvent, DrillState, RepetitionEnded
    from coach.coaching.model import Assignment, Decision, Order, PlanChange, Request
    from coach.coaching.planning import PlanRow
    from coach.judging.judge import JudgingJob
    from coach.judging.model import Judgement
    from coach.playing.click_schedule import Timed
    from coach.playing.midi_events import MidiEvent
    from coach.playing.notes import PlayedNote
    from coach.record.pieces import PieceKey
    from coach.record.progress import PieceProgress
    from coach.score.model import Score
    from coach.score.window import Excerpt
    from coach.screens.setup_steps import SetupFound
    from coach.screens.widgets import Engraver

GOAL_REACHED = "The goal is reached."


class Errand(StrEnum):
    """What a piece is opened for."""

    DRILL = "drill"
    """As the command line asked, or the whole piece."""
    GO_ON = "go on"
    """Where the pianist left off."""
    WARM_UP = "warm-up"
    PLAN = "today's part of the plan"
    """What the plan to a date asks for on this day."""
    DEMO = "demo"
    """A simulated pianist plays; nothing is kept."""


class DrillLike(Protocol):
    """The drill, as the drill screen drives it (``coach.coaching.drill.drill.Drill``)."""

    @property
    def state(self) -> DrillState:
        """Where it stands."""

    @property
    def decision(self) -> Decision:
        """What the coach decided last."""

    @property
    def assignment(self) -> Assignment:
        """What is to be played now."""

    @property
    def excerpt(self) -> Excerpt:
        """The notes of the present window."""

    @property
    def reached(self) -> Fraction | None:
        """The onset that the player has reached, in quarters; None where nothing is played."""

    def start(self, now_s: float) -> tuple[DrillEvent, ...]:
        """Show the first assignment."""

    def hear(self, event: KeyEvent) -> tuple[DrillEvent, ...]:
        """A key was struck or released, or a pedal moved."""

    def tick(self, now_s: float) -> tuple[DrillEvent, ...]:
        """Time passed."""

    def take_verdict(
        self, job: JudgingJob, judgement: Judgement, now_s: float
    ) -> tuple[DrillEvent, ...]:
        """The verdict on a repetition that was given out to be judged."""

    def piano_lost(self, now_s: float) -> tuple[DrillEvent, ...]:
        """The piano vanished."""

    def piano_found(self, now_s: float) -> tuple[DrillEvent, ...]:
        """The piano is there."""

    def ask(self, request: Request, now_s: float) -> tuple[DrillEvent, ...]:
        """The pianist asks for something else."""

    def foresee(self, request: Request) -> Excerpt:
        """What would be asked for upon a wish for another window."""

    def pause(self, now_s: float) -> tuple[DrillEvent, ...]:
        """Rest."""

    def resume(self, now_s: float) -> tuple[DrillEvent, ...]:
        """Go on."""


@dataclass(frozen=True, slots=True)
class NextDrill:
    """What comes after a goal that is reached."""

    where: str
    """What is gone on to, in words: ``bars 5 to 8``."""
    make: Callable[[float], DrillSession]
    """Open it, at a time of the monotonic clock (s), once this session is left."""
    reached: str = GOAL_REACHED
    """What is reached, in a sentence."""


@dataclass(frozen=True, slots=True)
class DrillSession:
    """A piece that is open: its score, its drill, and what is kept of it."""

    score: Score
    drill: DrillLike
    title: str
    keep: Callable[[RepetitionEnded], str]
    """Keep a repetition; answers "", or in one row what goes wrong."""
    leave: Callable[[], str]
    """Keep where the drill stands, on leaving it; answers in a sentence what there is to read."""
    plan: Callable[[], Sequence[PlanRow]] = tuple
    """Every task on the way to the goal, with where it stands."""
    change_plan: Callable[[int, PlanChange, float], tuple[DrillEvent, ...]] | None = None
    """Change a row of the plan, as ``Drill.change_plan``; None where it can't be changed."""
    reorder: Callable[[Order, float], tuple[DrillEvent, ...]] | None = None
    """Put all bars in another order, as ``Drill.reorder``."""
    save: Callable[[], str] = str
    """Keep what could not be kept before; answers as ``keep``. Returns at once."""
    next_drill: NextDrill | None = None
    """What comes once the goal is reached; None where that is all."""
    keep_unjudged: Callable[[JudgingJob], str] = lambda job: ""
    """Keep what was played where there is no time for a verdict; answers in a sentence where."""
    path: Path | None = None
    """The score's file, where that is another than was opened."""
    what_remains: Callable[[], str] = str
    """What remains of a warm-up, beside its title: ``3 of 7 hold, about 6 minutes``."""


OpenScore: TypeAlias = (
    "Callable[[Path, Sequence[str], Callable[[str], None], Callable[[], bool]], Score]"
)
"""Open a score: path, hand moves to be kept with it (lines as ``coach.score.hand_moves`` reads),
progress to be told, whether to give up. Raises ScoreError, MoveError or RecordError. May block."""

MakeSession: TypeAlias = "Callable[[Score, Path, Errand, float], DrillSession]"
"""Open a session with a score from a path, for an errand, at a time of the monotonic clock (s).

Raises ValueError, with one sentence for the pianist, where there is nothing to drill.
"""


@dataclass(frozen=True, slots=True)
class HomeItem:
    """One line of the home screen that can be chosen."""

    errand: Errand
    title: str
    detail: str
    path: Path


class Library(Protocol):
    """What can be chosen at home."""

    def items(self) -> Sequence[HomeItem]:
        """The warm-up first, then the last piece, then the scores that are at hand."""

    def folder(self) -> Path:
        """Where to begin looking for another score."""


class OwnSoundLike(Protocol):
    """What we send, as it comes back in (``coach.playing.ports.own_sound.OwnSound``)."""

    comes_back: bool
    """Whether the piano sends on what it is sent."""


class PortsLike(Protocol):
    """The piano's ports (``coach.playing.ports.ports.Ports``)."""

    def names_in(self) -> tuple[str, ...]:
        """What can be listened to."""

    @property
    def own(self) -> OwnSoundLike:
        """What we send, as it comes back in."""

    def listen(
        self, wanted: str | None, post: Callable[[MidiEvent], None], before: str | None = None
    ) -> None:
        """Post what is played, from another thread, from now on.

        ``before``: the piano of another evening, to be taken where no other is wanted.
        """

    def watch(self, watch: Callable[[int, tuple[int, ...], float], None] | None) -> None:
        """Have every message seen as it arrives (status, data, s), on another thread."""

    def close(self) -> None:
        """Let go of the ports."""


class ClickLike(Protocol):
    """What sounds through the piano's own sound: the click, and what is heard."""

    def prepare(self) -> None:
        """Be ready to sound at once; to be called whenever a piano is there."""

    def play(self, messages: Sequence[Timed], from_s: float | None = None) -> bool:
        """Sound these at their times, in place of what sounds; at once: whether there is a way.

        With ``from_s`` in place of what was to be sent from then on: what sounds goes on.
        """

    def stop(self) -> None:
        """Silence."""

    def close(self) -> None:
        """Silence for good."""


class JudgesLike(Protocol):
    """Whoever judges long takes, so that the screen does not stand still for it."""

    def start(self) -> None:
        """Get ready, in the background."""

    def give(self, job: JudgingJob, done: Callable[[Future[Judgement]], None]) -> Future[Judgement]:
        """Have a job judged; ``done`` is called with its future, on another thread."""

    def close(self) -> None:
        """Judge nothing more."""


class PianistLike(Protocol):
    """A simulated pianist (``coach.playing.simulated.player.SimulatedPianist``)."""

    def play(
        self, excerpt: Excerpt, qpm: float | None, *, start_s: float
    ) -> tuple[PlayedNote, ...]:
        """The notes of the next repetition, the first at about ``start_s``."""


class DiariesLike(Protocol):
    """The diaries of the pieces that were played."""

    def pieces(self) -> Sequence[PieceKey]:
        """All of them, the last played first."""

    def read(self, piece: PieceKey, score: Score | None = None) -> PieceProgress | str:
        """One piece's; in a sentence why there is none. ``score``: where it is open already."""


class PianistsLike(Protocol):
    """Who shares the piano (``coach.cli.wiring.Pianists``)."""

    def names(self) -> Sequence[str]:
        """Everyone with a record of their own."""

    def why_not(self, name: str) -> str:
        """Why a name can't be kept; "" where it can."""


@dataclass(frozen=True)
class Collaborators:
    """Everything that the screens are given."""

    open_score: OpenScore
    make_session: MakeSession
    library: Library
    ports: PortsLike | None = None
    ports_sentence: str = ""
    """Why there are no ports, and what to do; "" where there are."""
    port_wanted: str | None = None
    keep_click: Callable[[ClickStyle], str] = lambda style: ""
    """Keep how the click is to sound; answers with what goes wrong, or ""."""
    port_before: str | None = None
    """The piano that was set up in another evening."""
    keep_setup: Callable[[SetupFound, str | None], str] = lambda found, port: ""
    """Keep what was found of the piano on a port; answers with what goes wrong, or ""."""
    click: ClickLike | None = None
    make_pianist: Callable[[Score], PianistLike] | None = None
    """None where no demo is to be had."""
    notices: Callable[[], tuple[str, ...]] = tuple
    """Sentences about the record, to be shown at the start, once the home screen is there."""
    judges: JudgesLike | None = None
    """None: every take is judged at once, here."""
    demo_path: Path | None = None
    """The score that the demo is shown with."""
    engraver: Engraver | None = None
    """None: the terminal shows no pictures."""
    diaries: DiariesLike | None = None
    """None where nothing is kept."""
    pianists: PianistsLike | None = None
    """None where who plays can't be changed."""
    warm_up_min: Callable[[], float] = lambda: 5.0
    """Minutes that there are for a warm-up; 0 as long as nobody has said."""
    keep_warm_up_min: Callable[[float], None] = lambda minutes: None
    """Keep what was said."""

    @property
    def can_demo(self) -> bool:
        """Whether a demo can be offered."""
        return self.make_pianist is not None and self.demo_path is not None


@dataclass(frozen=True, slots=True)
class Settings:
    """How things are shown."""

    ascii_only: bool = False
    counting: CountingSystem = CountingSystem.TRADITIONAL
    keyboard: Layout = Layout.QWERTY
    """The computer keyboard that stands in for a piano."""
    piano_keys: int = 88
    """How many keys the piano has."""
    click: ClickStyle = USUAL
    """How the click sounds."""
    bound: Mapping[Trigger, PianoCommand] = field(default_factory=dict)
    """Keys, pedals and buttons that the pianist chose for something."""
    pianist: str = ""
    """Who plays, where several share the piano."""


SubmitJob: TypeAlias = "Callable[[JudgingJob], Future[Judgement]]"
"""Have a job judged elsewhere; its verdict arrives in the inbox (:mod:`coach.screens.inbox`)."""


@dataclass(frozen=True, slots=True)
class DrillSetup:
    """What one drill screen is given."""

    session: DrillSession
    settings: Settings
    clock: Callable[[], float]
    """Gives seconds on the clock that the piano's events are stamped with."""
    click: ClickLike | None = None
    submit: SubmitJob | None = None
    """None: every take is judged at once, here."""
    engraver: Engraver | None = None
    """None: the staff is drawn in cells."""


class Host(Protocol):
    """The screen, as its parts need it."""

    @property
    def size(self) -> Size:
        """Columns and rows of the terminal."""

    def set_timer(self, delay: float, callback: TimerCallback | None = None) -> Timer:
        """Call once, after some seconds, unless the screen has been left."""

    def set_interval(self, interval: float, callback: TimerCallback | None = None) -> Timer:
        """Call again and again, until the screen is left."""

    def post_message(self, message: Message) -> bool:
        """Tell the screens above."""

    def show(self, outcomes: Iterable[DrillEvent]) -> None:
        """Show what the drill answered."""


DEMO_SPEED = 2.0
"""How many times as fast as life the demo goes. Own choice: its lesson is over in 90 seconds."""


@dataclass(frozen=True, slots=True)
class Start:
    """What to show first: home where no path is given."""

    path: Path | None = None
    errand: Errand = Errand.DRILL
    demo_speed: float = DEMO_SPEED
    """How many of the demo's seconds pass in one."""
    sets_up: bool = False
    """Whether the piano is to be set up first."""


_ALSA_ADDRESS = re.compile(r" \d+:\d+$")
_PORT = re.compile(r"(midi|out|output|capture|port|[\W_\d])*", re.IGNORECASE)


def piano_words(port: str) -> str:
    """A piano's name out of its port's: ``Stage piano`` of ``Stage piano:out``.

    Ports are called ``client:port``, by ALSA with an address after it; where the port only says
    that it is one, or says the client's name again, the client's name is the piano's.
    """
    client, colon, own = _ALSA_ADDRESS.sub("", port).partition(":")
    if client in BRIDGES and own:
        return re.split(r" ?[:(\[]", own)[0] or port
    if colon and (own.startswith(client) or _PORT.fullmatch(own)):
        return client or port
    return _ALSA_ADDRESS.sub("", port)


def others_words(heard: str, others: Sequence[str]) -> str:
    """Which of several pianos is heard, and how another is chosen; "" where there is but one.

    ``others`` as :class:`~coach.playing.midi_events.OtherPianos` has them.
    """
    if not others:
        return ""
    quoted = shlex.quote(others[0])
    names = " and ".join(dict.fromkeys(piano_words(other) for other in others))
    are, there = ("is", "it") if len(others) == 1 else ("are", "one of them")
    return (
        f"I hear {piano_words(heard)}. {names} {are} connected too: to play on {there}, leave and "
        f"start again with --port {quoted}."
    )
