"""The events that the follower gives out while the pianist plays, as plain facts."""

from __future__ import annotations

from dataclasses import dataclass

from coach.judging.model import Instead, Label
from coach.playing.notes import Take
from coach.score.model import Hand


@dataclass(frozen=True, slots=True)
class RepetitionBegan:
    """A repetition has begun, with the key struck then."""

    at_s: float


@dataclass(frozen=True, slots=True)
class NoteMarked:
    """A score note is now this (matched, wrong or missed); None takes a mark away.

    A mark may be revised when later notes explain an earlier one better.
    """

    note: int
    """Index into ``excerpt.notes``."""
    label: Label | None


@dataclass(frozen=True, slots=True)
class StrayKey:
    """A key was struck that the score does not ask for."""

    pitch: int
    hand: Hand | None
    """Which hand, as far as can be told."""


@dataclass(frozen=True, slots=True)
class Ended:
    """A repetition is over: played to the end, broken off, or begun anew. Judge this take."""

    take: Take
    cost: float = 0.0
    """Of its likeliest hypothesis while it was played, in nats (``alignment/transitions.py``): the
    stranger, the longer it takes to judge. Infinite where nobody followed it."""


@dataclass(frozen=True, slots=True)
class NotThis:
    """What was played is no repetition of the window; one sentence says why."""

    reason: str
    take: Take | None = None
    """The keys that were none of the window's; None where too little was played to ask about."""
    what: Instead | None = None
    """What was played instead, where that is known."""


FollowerEvent = RepetitionBegan | NoteMarked | StrayKey | Ended | NotThis
"""Everything that the follower can give out."""
