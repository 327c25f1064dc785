"""What the drill answers to an input: the only things that a screen or a program has to show."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from coach.coaching.model import Assignment, Decision, Observation
from coach.judging.following import NoteMarked, RepetitionBegan, StrayKey
from coach.judging.judge import JudgingJob
from coach.judging.model import Instead, Judgement
from coach.playing.notes import Take
from coach.score.window import Excerpt

__all__ = [
    "AssignmentGiven",
    "CountIn",
    "DrillEvent",
    "DrillState",
    "MovedOn",
    "NoteMarked",
    "PlanChanged",
    "Proposed",
    "RepetitionBegan",
    "RepetitionEnded",
    "SetAside",
    "StateChanged",
    "StrayKey",
    "ToJudge",
]
"""Three of them are the follower's own, handed on as they are."""


class DrillState(StrEnum):
    """Where the drill stands; the moves between them are one table in ``states.py``."""

    READY = "ready"
    """Waiting for the first note of the window."""
    COUNT_IN = "count-in"
    PLAYING = "playing"
    NO_PIANO = "no piano"
    RESTING = "resting"
    """The pianist asked for a pause."""
    FINISHED = "finished"


@dataclass(frozen=True, slots=True)
class StateChanged:
    """The drill is in another state now."""

    state: DrillState


@dataclass(frozen=True, slots=True)
class AssignmentGiven:
    """There is something to play: show this window and this reason."""

    assignment: Assignment
    excerpt: Excerpt
    decision: Decision


@dataclass(frozen=True, slots=True)
class CountIn:
    """A click runs from now on: the first beat of the count-in is at ``first_beat_s``."""

    first_beat_s: float
    beat_s: float
    """Length of a beat (the metre's beat) in seconds."""
    count_in_beats: int
    """Beats before the window's first beat."""
    beats: int
    """Beats in all, count-in included."""


@dataclass(frozen=True, slots=True)
class ToJudge:
    """A repetition is over that takes long to judge: have it judged elsewhere.

    Hand the verdict to ``Drill.take_verdict``; then comes its :class:`RepetitionEnded`.
    """

    job: JudgingJob


@dataclass(frozen=True, slots=True)
class RepetitionEnded:
    """A repetition was judged: its verdict, and the decision that follows from it.

    The next one may have begun already, where this was broken off by starting again, or judged
    elsewhere.
    """

    take: Take
    judgement: Judgement
    decision: Decision
    assignment: Assignment
    """What was asked for when it was played."""
    observed: tuple[Observation, ...]
    """What the verdict says of each transition of each hand, as it is kept in the record."""


@dataclass(frozen=True, slots=True)
class SetAside:
    """What was played does not count: noodling, a lost piano, a new assignment in mid-bar."""

    reason: str
    job: JudgingJob | None = None
    """What was given out to be judged, where the verdict is that it was no repetition: then this
    is not about what is in hand now."""
    what: Instead | None = None
    """What was played instead of the window, where it was that."""


@dataclass(frozen=True, slots=True)
class Proposed:
    """An offer to the pianist: a break, stopping for today."""

    text: str


@dataclass(frozen=True, slots=True)
class MovedOn:
    """What is to be played next is in another piece: put that on the desk."""


@dataclass(frozen=True, slots=True)
class PlanChanged:
    """The pianist changed the plan, or tried to."""

    said: str
    """What was done, or why it can't be: one sentence."""


DrillEvent = (
    StateChanged
    | AssignmentGiven
    | CountIn
    | RepetitionBegan
    | NoteMarked
    | StrayKey
    | ToJudge
    | RepetitionEnded
    | SetAside
    | Proposed
    | MovedOn
    | PlanChanged
)
