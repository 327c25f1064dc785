"""What a player does between two looks at the music, and what may be made of it, as plain facts.

A gesture is a row of acts in time. Its passages say what a sensible coach may make of the keys in
them: the player knows what was meant, the coach only hears keys.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import NamedTuple


class Do(StrEnum):
    """What is done, at the piano or at the computer beside it."""

    DOWN = "key down"
    UP = "key up"
    PEDAL = "pedal"
    LOST = "piano lost"
    FOUND = "piano found"
    PAUSE = "pause"
    RESUME = "resume"
    ASK = "ask"
    LEAVE = "leave until tomorrow"


class Act(NamedTuple):
    """One thing done."""

    at_s: float
    do: Do
    one: int = 0
    """The key's pitch, or the pedal's controller."""
    two: int = 0
    """The key's velocity, or the pedal's value."""
    word: str = ""
    """What is asked for."""


class Worth(StrEnum):
    """What a passage may be counted as."""

    CLEAN = "clean"
    """It was meant as a repetition and is right: it has to be counted clean."""
    UNCLEAN = "not clean"
    """It was meant as a repetition and is not right: it may never be counted clean."""
    OPEN = "open"
    """Meant as a repetition; whether it is clean is a matter of taste."""
    NOTHING = "nothing"
    """No repetition of this window: it may never be clean, nor leave a fault in the record."""


class Planted(NamedTuple):
    """One note that was played wrong, or left out, on purpose."""

    onset_quarters: Fraction
    pitch: int
    """As written."""
    missed: bool


@dataclass(frozen=True, slots=True)
class Passage:
    """A stretch of keys with one meaning."""

    kind: str
    worth: Worth
    is_whole: bool
    """The window from its first note to its last: it has to get a verdict."""
    notes_right: bool
    """A wrong, missed or extra note may not be told of it."""
    repeats: bool = False
    """Notes were played again in it, which may be told."""
    planted: tuple[Planted, ...] = ()
    """What has to be told of it."""
    struck_s: tuple[float, ...] = ()
    """When each of its keys was struck, in order."""


@dataclass(frozen=True, slots=True)
class Gesture:
    """What is done before the player looks at the music again."""

    kind: str
    acts: tuple[Act, ...]
    passages: tuple[Passage, ...]
    rest_s: float
    """How long the hands rest after it, before the player looks."""
    may_change: bool = False
    """The player asked for something in it, so the window may change while it lasts."""

    @property
    def hands_on(self) -> tuple[float, float] | None:
        """From its first key to its last: the window may not change between them."""
        struck = [act.at_s for act in self.acts if act.do is Do.DOWN]
        return (struck[0], struck[-1]) if struck and not self.may_change else None
