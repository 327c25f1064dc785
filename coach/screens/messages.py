"""All messages between the screens. What comes from the piano goes through :mod:`.inbox`."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from textual.message import Message

from coach.screens.interfaces import Errand

if TYPE_CHECKING:
    from coach.score.model import Score


@dataclass
class OpeningProgress(Message, bubble=False):
    """How far the opening of a score has come; an older one may be left out."""

    text: str

    def can_replace(self, message: Message) -> bool:
        """Only the newest matters."""
        return isinstance(message, OpeningProgress)


@dataclass
class ScoreOpened(Message, bubble=False):
    """A score is open."""

    score: Score
    path: Path
    errand: Errand


@dataclass
class ScoreRefused(Message, bubble=False):
    """A score could not be opened, or there is nothing to drill in it; one sentence."""

    sentence: str


@dataclass
class PageTurned(Message):
    """Another page of the window is shown, or another window."""


@dataclass
class WentOn(Message):
    """The goal on the screen is reached, and the pianist goes on to what comes after it."""


@dataclass
class LettersTaken(Message):
    """The demo's lesson is over, and the letters go on with its passage."""


@dataclass
class HandsMoved(Message):
    """Notes of the piece on the screen are to go to the other hand; one line each."""

    moves: tuple[str, ...]
