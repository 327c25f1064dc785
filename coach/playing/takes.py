"""From keys that go down and up to the take: the notes with how long each was held."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from coach.playing.midi_events import KeyDown, KeyUp, MidiEvent, Pedal
from coach.playing.notes import PedalMove, PlayedNote, Take


class TakeKeeper:
    """Collects keys and pedals, in the order in which they came.

    A key struck again without having been let go ends its earlier note there.
    """

    def __init__(self) -> None:
        self._notes: list[PlayedNote] = []
        self._pedals: list[PedalMove] = []
        self._down: dict[int, int] = {}  # pitch to the index of its note

    def add(self, event: MidiEvent) -> None:
        """Take a key or a pedal down; anything else says nothing about a take."""
        if isinstance(event, KeyDown):
            self._let_go(event.pitch, event.at_s)
            self._down[event.pitch] = len(self._notes)
            self._notes.append(PlayedNote(event.pitch, event.velocity, event.at_s))
        elif isinstance(event, KeyUp):
            self._let_go(event.pitch, event.at_s)
        elif isinstance(event, Pedal):
            self._pedals.append(PedalMove(event.controller, event.value, event.at_s))

    def take(self) -> Take:
        """What was played up to now; keys still down have no length."""
        notes = sorted(self._notes, key=lambda note: note.onset_s)
        return Take(tuple(notes), tuple(self._pedals))

    def _let_go(self, pitch: int, at_s: float) -> None:
        index = self._down.pop(pitch, None)
        if index is not None:
            note = self._notes[index]
            self._notes[index] = replace(note, length_s=max(0.0, at_s - note.onset_s))


def take_of(events: Iterable[MidiEvent]) -> Take:
    """The take of these events."""
    keeper = TakeKeeper()
    for event in events:
        keeper.add(event)
    return keeper.take()
