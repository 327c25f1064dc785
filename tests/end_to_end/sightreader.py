"""A pianist who does what the screen says: reads the assignment there, and plays that window."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from coach.playing.notes import PlayedNote
from coach.score.model import Score, ScoreNote
from coach.score.window import Excerpt, choose_window, excerpt

_HANDS = {"LH alone": "lh", "RH alone": "rh", "hands together": "both"}
_BEAT = r"(\d+(?: \d/\d)?)"
_ASSIGNMENT = re.compile(
    rf"({'|'.join(_HANDS)}) · bars? (\d+)"
    rf"(?: to (\d+)|, beat {_BEAT} (?:→|->) (?:bar (\d+), beat )?{_BEAT})?"
    rf" · (?:(\d+) bpm|own tempo)"
)

Fault = Callable[[ScoreNote], int]
"""How many semitones beside a note the pianist strikes: 0 for the right key."""


def no_fault(note: ScoreNote) -> int:
    """Play every note as it is written."""
    return 0


@dataclass(frozen=True)
class Read:
    """What the screen asks for."""

    excerpt: Excerpt
    bpm: float
    words: str


def read_assignment(screen: str, score: Score) -> Read | None:
    """The assignment that stands on the screen; None where none does."""
    found = _ASSIGNMENT.search(screen)
    if not found:
        return None
    hands, first, last, start, second, end, bpm = found.groups()
    window = choose_window(
        score,
        bars=f"{first}-{last or second or first}",
        beats=f"{start}-{end}" if start else None,
        hands=_HANDS[hands],
    )
    return Read(excerpt(score, window), float(bpm or 100), found.group())


def play(read: Read, fault: Fault = no_fault) -> list[PlayedNote]:
    """The window's notes at the tempo asked for, in a metre whose beat is a quarter."""
    beat_s = 60 / read.bpm
    start = read.excerpt.notes[0].onset_quarters
    return [
        PlayedNote(
            note.pitch + fault(note),
            70,
            float(note.onset_quarters - start) * beat_s,
            float(max(note.length_quarters, Fraction(1, 8))) * beat_s * 0.9,
        )
        for note in read.excerpt.notes
    ]
