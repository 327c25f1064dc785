"""What the coach asks for and believes, as plain facts."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction

from coach.judging.model import Outcome, Stage
from coach.score.model import Hands
from coach.score.window import Transition, Window


class AssignmentKind(StrEnum):
    """Why an assignment is given."""

    TRY = "try"
    """Play it as it is, so that the coach hears where it breaks."""
    DRILL = "drill"
    """The same again until the clean run is full."""
    NARROW = "narrow"
    APART = "hands separate"
    SLOWER = "slower"
    JOIN = "join"
    WIDEN = "widen"
    QUICKEN = "quicken"
    TRIAL = "trial at tempo"
    REVIEW = "review"
    """A weak spot of an earlier day."""
    OTHER_WAY = "another way"
    """The same notes in another rhythm, in chords, or without rhythm."""
    ASKED = "asked for"
    """The pianist's own wish."""


@dataclass(frozen=True, slots=True)
class Assignment:
    """What the coach asks for next."""

    window: Window
    """The stretch and the hands."""
    qpm: float | None
    """The tempo in quarters a minute; None for the player's own pace."""
    stage: Stage
    clean_required: int
    kind: AssignmentKind
    reason: str
    """One sentence."""
    click: bool = False
    """Whether a count-in and click are given; then timing is judged against it."""

    @property
    def to_play(self) -> tuple[Window, float | None, Stage]:
        """What is to be played, without the reason for it."""
        return self.window, self.qpm, self.stage


class TroubleKind(StrEnum):
    """What sort of trouble it is."""

    ONE_HAND = "one hand"
    TOGETHER_ONLY = "hands together only"
    READING = "reading"
    """Slow, with right notes: the next note is not known yet."""
    REACH = "reach"
    """Fast enough, wrong key: a leap or stretch misses."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """The hand and transition that the evidence so far points to."""

    transition: Transition
    onset_quarters: Fraction
    """The onset within it that fails most."""
    kind: TroubleKind
    sure: float
    """Probability that this is a standing fault and not a slip, 0 to 1."""
    evidence: str
    """``4 of the last 5: late to beat 2, 0.3 to 0.6 s, LH``"""
    place: str
    """``LH bar 12, beat 1 → 2``; without a hand where that is open."""
    open_hand: bool = False
    """The place is sure, and whose it is not yet: the evidence gives each hand its chance."""

    @property
    def hands(self) -> Hands:
        """One hand, or both together."""
        return self.transition.hands


class Way(StrEnum):
    """The two ways in."""

    LEARN = "learn"
    """New music: read, and taken apart where it breaks."""
    REPAIR = "repair"
    """Known music: play it, hear where it breaks, mend that."""


class Order(StrEnum):
    """In which order new music is learnt."""

    FORWARD = "in order"
    FROM_END = "from the end"
    HARD_FIRST = "hard bars first"


USUAL_CLEAN = 3
"""Clean repetitions running, where nothing else is said. Common practice."""


@dataclass(frozen=True, slots=True)
class Goal:
    """What is to be reached."""

    window: Window
    qpm: float
    stage: Stage = Stage.RHYTHM
    clean_required: int = USUAL_CLEAN
    way: Way = Way.REPAIR
    order: Order = Order.FORWARD
    own_pace: bool = False
    """True: never ask for a tempo; every assignment has ``qpm`` None."""
    reason: str = ""
    """Why this goal, where it was not the pianist who set it: a weak spot of an earlier day."""
    is_set_work: bool = False
    """A teacher set it: as many clean ones are asked for as that."""


class Exercise(StrEnum):
    """A way of practising a place, other than as it is written."""

    NOTES = "notes only"
    DOTTED = "dotted"
    SHORT_LONG = "short and long"
    BLOCKED = "in chords"


class Request(StrEnum):
    """What the pianist may ask for; the coach follows."""

    SMALLER = "smaller"
    LARGER = "larger"
    SLOWER = "slower"
    FASTER = "faster"
    OTHER_HAND = "other hand"
    AGAIN = "again"
    NEXT = "next"
    NOT_THIS = "not this"
    HARD = "this is hard"
    """Another way of practising it, and sooner the next time."""
    STAY = "stay here"
    """The same, until something else is asked for."""
    FINGERING = "new fingering"
    """What failed with the old one counts for less."""


class PlanChange(StrEnum):
    """What the pianist may do with one row of the plan."""

    EARLIER = "earlier"
    LATER = "later"
    LEAVE_OUT = "leave out"
    TAKE_UP = "take up again"
    """What was left out, or is held and shall be played once more."""


@dataclass(frozen=True, slots=True)
class Decision:
    """The state of the drill after a repetition, a request, or at the start."""

    assignment: Assignment
    changed: bool
    """Whether the assignment differs from the one before."""
    clean_run: int
    """Clean repetitions running of this assignment."""
    trouble: Trouble | None
    """The one that is being worked on or looked for."""
    troubles: tuple[Trouble, ...] = ()
    """All that are believed in, the worst first."""
    finished: bool = False
    """The goal is reached: the window clean at its tempo, so many times running."""
    enough: bool = False
    """A place is left for today, and all the rest holds: no more is to be had now."""
    proposals: tuple[str, ...] = ()
    """Offers, not orders: a break, stopping for today, trying it at tempo."""
    note: str = ""
    """What the coach says besides the reason: "there is no one place"."""


@dataclass(frozen=True, slots=True)
class Observation:
    """One transition in one repetition, as it is kept and as belief is made from it."""

    at_s: float
    """Unix time, in seconds."""
    transition: Transition
    """Of a single hand."""
    onset_quarters: Fraction
    """The onset at fault; the transition's end where nothing was."""
    hands_played: Hands
    """The window's hands: whether the other hand played too."""
    outcome: Outcome
    qpm: float | None
    """The tempo found, in quarters a minute."""
    error_ms: float | None = None
    hears_late: float = field(default=1.0, compare=False)
    """Of the hesitations heard here with both hands, the share that is heard in what was played."""
