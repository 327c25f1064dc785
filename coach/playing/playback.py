"""What is to be heard as timed MIDI messages: a window as written, or a take as it was played.

Pure: it plans times; the sounding process sends. Times are seconds on one monotonic clock.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from coach.playing.click_schedule import Timed
from coach.playing.midi_events import CONTROL, NOTE_OFF, NOTE_ON
from coach.playing.notes import PlayedNote, Take
from coach.score.model import Hand, ScoreNote

GRACE_S = 0.09
"""How long a grace note takes of the time before its note. Own choice, because at a tenth of a
second it is heard as a note of its own and not as a chord."""
HELD_SHARE = 0.95
"""How much of its written length a note sounds. Own choice, because a little air lets one hear
where the next begins."""
RELEASE_S = 0.03
"""A key is up for this long at least before it is struck again: less, and a piano plays no new
note."""
SHORTEST_S = 0.04
"""A shorter tone is a click: own choice."""
LOUDNESS = {Hand.RIGHT: 76, Hand.LEFT: 64}
"""Velocities. Own choice, because the tune, mostly the right hand's, is to stand out a little."""
KEPT_OPEN_S = 0.4
"""How long a played note sounds whose key was never let go of in the take."""


@dataclass(frozen=True, slots=True)
class Sounding:
    """A written note, and when it sounds."""

    note: ScoreNote
    at_s: float
    end_s: float


def plan_notes(
    notes: Sequence[ScoreNote], *, qpm: float, from_quarters: Fraction, start_s: float
) -> tuple[Sounding, ...]:
    """When each written note sounds at a steady tempo; ``from_quarters`` falls on ``start_s``.

    Each note once, in order of time. Grace notes come before their beat, one after the other. A key
    that two voices share is struck once.
    """
    quarter_s = 60 / qpm
    planned: dict[tuple[Fraction, int, int], Sounding] = {}
    for onset, together in _by_onset(notes):
        at_s = start_s + float(onset - from_quarters) * quarter_s
        graces = [note for note in together if note.grace is not None]
        for back, note in enumerate(reversed(graces), start=1):
            begin_s = at_s - back * GRACE_S
            planned[onset, note.pitch, back] = Sounding(note, begin_s, begin_s + GRACE_S)
        for note in together:
            if note.grace is None:
                held_s = max(float(note.length_quarters) * quarter_s * HELD_SHARE, SHORTEST_S)
                key, before = (onset, note.pitch, 0), planned.get((onset, note.pitch, 0))
                if before is None or before.end_s < at_s + held_s:
                    planned[key] = Sounding(note, at_s, at_s + held_s)
    return tuple(sorted(planned.values(), key=lambda one: (one.at_s, one.note.pitch)))


def note_messages(sounding: Sequence[Sounding], share: float = 1.0) -> tuple[Timed, ...]:
    """The messages that sound these; ``share`` is how loud, 1 being the usual."""
    return _messages(
        [(one.at_s, one.end_s, one.note.pitch, _loudness(one.note.hand, share)) for one in sounding]
    )


def _loudness(hand: Hand, share: float) -> int:
    return min(max(round(LOUDNESS[hand] * share), 1), 127)


def begins_note(message: Sequence[int]) -> bool:
    """Whether a MIDI message begins a note."""
    return message[0] & 0xF0 == NOTE_ON and message[2] > 0


def heard_length_s(note: PlayedNote) -> float:
    """How long a played note is to sound: for as long as its key was held."""
    return KEPT_OPEN_S if note.length_s is None else note.length_s


def take_messages(
    take: Take, *, start_s: float, from_s: float = 0.0, slower: float = 1.0
) -> tuple[Timed, ...]:
    """A take as it was played, with its own timing, loudness and pedals.

    ``from_s`` is the moment of the take that falls on ``start_s``; what was struck before is left
    out. ``slower`` stretches it: 2 is half the speed.
    """

    def when_s(at_s: float) -> float:
        return start_s + (at_s - from_s) * slower

    strokes = [
        (
            when_s(note.onset_s),
            when_s(note.onset_s + heard_length_s(note)),
            note.pitch,
            note.velocity,
        )
        for note in take.notes
        if note.onset_s >= from_s
    ]
    pedals: list[Timed] = [
        (when_s(move.at_s), (CONTROL, move.controller, move.value))
        for move in take.pedals
        if move.at_s >= from_s
    ]
    return tuple(sorted([*_messages(strokes), *pedals]))


_Stroke = tuple[float, float, int, int]
"""Onset and end in seconds, key, velocity."""


def _messages(strokes: Sequence[_Stroke]) -> tuple[Timed, ...]:
    """A key is let go of before it is struck again."""
    out: list[Timed] = []
    next_s: dict[int, float] = {}
    for at_s, end_s, key, velocity in sorted(strokes, reverse=True):
        latest_s = next_s.get(key, float("inf")) - RELEASE_S
        end_s = max(min(end_s, latest_s), at_s + RELEASE_S / 3)
        out += [(at_s, (NOTE_ON, key, velocity)), (end_s, (NOTE_OFF, key, 0))]
        next_s[key] = at_s
    return tuple(sorted(out))


def _by_onset(notes: Sequence[ScoreNote]) -> list[tuple[Fraction, list[ScoreNote]]]:
    groups: dict[Fraction, list[ScoreNote]] = {}
    for note in notes:
        groups.setdefault(note.onset_quarters, []).append(note)
    return sorted(groups.items())
