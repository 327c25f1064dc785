"""Which track of a MIDI file is which hand."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from coach.score.errors import ScoreError
from coach.score.model import Hand
from coach.score.printed import Remark
from coach.score.reading.guessed_hands import split_hands
from coach.score.reading.midi.file import MidiPiece, Stream
from coach.score.reading.musicxml import OTHER_PLAYERS

_PIANOS = range(8)
"""General MIDI programs of the piano family, counted from 0."""
_RIGHT = re.compile(r"right|\br\.?\s?h\b|\brh\b|destra|droite|recht|upper|treble", re.IGNORECASE)
_LEFT = re.compile(r"left|\bl\.?\s?h\b|\blh\b|sinistra|gauche|link|lower|bass\b", re.IGNORECASE)
_MIDDLE_C = 60


@dataclass(frozen=True, slots=True)
class HandNote:
    """A note with its hand; times in ticks."""

    start: int
    end: int
    pitch: int
    hand: Hand
    hand_is_guess: bool


def hands_of_tracks(piece: MidiPiece, name: str) -> tuple[list[HandNote], list[Remark]]:
    """The piano's notes in the order of their onsets, each with its hand.

    Raises ScoreError where the file holds no note for a piano.
    """
    if not piece.streams:
        raise ScoreError(f"{name} holds no note that could be played: export the score again.")
    streams = _pianos(piece.streams)
    remarks = []
    left_out = [s.name or f"track {s.track + 1}" for s in piece.streams if s not in streams]
    if left_out:
        text = f"Only the piano's tracks are to be played; left out: {', '.join(left_out[:12])}."
        remarks.append(Remark("left out", text))
    if len(streams) == 1:
        remarks.append(Remark("guess", "The file has one track: the hands are a guess."))
        notes = _split(streams[0])
    else:
        hands, is_guess = _by_track(streams)
        if is_guess:
            text = "The file does not name its hands: higher tracks were given to the right hand."
            remarks.append(Remark("guess", text))
        notes = [
            HandNote(note.start, note.end, note.pitch, hand, is_guess and len(streams) > 2)
            for stream, hand in zip(streams, hands, strict=True)
            for note in stream.notes
        ]
    return sorted(notes, key=lambda note: (note.start, note.pitch)), remarks


def _pianos(streams: Sequence[Stream]) -> list[Stream]:
    """The piano's streams: those with a piano's sound, or all where none has one."""
    sounding = [s for s in streams if s.program in _PIANOS and not OTHER_PLAYERS.search(s.name)]
    named = [s for s in sounding if _RIGHT.search(s.name) or _LEFT.search(s.name)]
    if len(named) > 1 and len(named) < len(sounding):
        return named
    return sounding or list(streams)


def _split(stream: Stream) -> list[HandNote]:
    hands = split_hands([(note.start, note.end, note.pitch) for note in stream.notes])
    return [
        HandNote(note.start, note.end, note.pitch, hand, True)
        for note, hand in zip(stream.notes, hands, strict=True)
    ]


def _by_track(streams: Sequence[Stream]) -> tuple[list[Hand], bool]:
    """Each stream's hand: by its name, else the higher of two, else by middle C."""
    named = [_named_hand(stream.name) for stream in streams]
    if all(named):
        return [hand or Hand.RIGHT for hand in named], False
    heights = [sum(note.pitch for note in s.notes) / len(s.notes) for s in streams]
    if len(streams) == 2:
        upper = heights.index(max(heights))
        return [Hand.RIGHT if i == upper else Hand.LEFT for i in range(2)], True
    by_height = [Hand.RIGHT if height >= _MIDDLE_C else Hand.LEFT for height in heights]
    return [name or guess for name, guess in zip(named, by_height, strict=True)], True


def _named_hand(name: str) -> Hand | None:
    right, left = bool(_RIGHT.search(name)), bool(_LEFT.search(name))
    if right == left:
        return None
    return Hand.RIGHT if right else Hand.LEFT
