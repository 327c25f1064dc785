"""The score as parallel arrays: onsets, hands and pitches by index, as the search reads them."""

from __future__ import annotations

from dataclasses import dataclass, field

from coach.score.model import FREE_MARKS, Hand, NoteMark
from coach.score.window import Excerpt

GRACE_LEAD_BEATS = 0.02
"""How far before its main note a small note stands. Own choice, because only the order counts."""

HANDS = (Hand.RIGHT, Hand.LEFT)
"""The hands by their index here."""


@dataclass(slots=True, eq=False)
class ScoreArrays:
    """Parallel lists over the excerpt's notes and over its onsets; never changed once made.

    An *onset* here is one time in the score with the notes of both hands; small notes have an
    onset of their own just before their main note's.
    """

    pitch: list[int]
    hand: list[int]
    """0 right, 1 left."""
    onset: list[int]
    """Index into ``beat``."""
    small: list[bool]
    free: list[bool]
    optional: list[bool]
    """Small print: no fault where it is left out."""
    beat: list[float]
    """When each onset is written, in beats from the window's first beat."""
    first: list[int]
    """First note of each onset; one entry more than onsets. Notes are in the order of onsets."""
    note: list[int]
    """Index into ``excerpt.notes`` of each note here."""
    of_pitch: dict[int, list[int]]
    """Notes of each pitch, in order."""
    shared: dict[int, list[int]] = field(default_factory=dict)
    """For a note of ``excerpt.notes``, others of it that are the same key at the same onset: they
    are not here, since a key is struck once."""
    tremolo: dict[int, frozenset[int]] = field(default_factory=dict)
    """For each note of a tremolo the pitches that go on with it: no others, as in a trill."""

    @property
    def only_hand(self) -> int | None:
        """The hand, where all notes are one hand's."""
        return self.hand[0] if self.hand and len(set(self.hand)) == 1 else None


def make_score_arrays(excerpt: Excerpt) -> ScoreArrays:
    """The excerpt's keys in order of onset, small notes before their main notes."""
    beats = excerpt.onset_beats
    keys = [
        (beat, note.grace is None, note.pitch)
        for beat, note in zip(beats, excerpt.notes, strict=True)
    ]
    same_key = excerpt.same_key
    order = sorted((at for at in range(len(keys)) if at not in same_key), key=keys.__getitem__)
    notes = [excerpt.notes[index] for index in order]
    small = [note.grace is not None for note in notes]
    pitch = [note.pitch for note in notes]
    out = ScoreArrays(
        pitch=pitch,
        hand=[0 if note.hand is Hand.RIGHT else 1 for note in notes],
        onset=[],
        small=small,
        free=[note.is_ornament for note in notes],
        optional=[note.is_small_print for note in notes],
        beat=[],
        first=[],
        note=order,
        of_pitch={},
    )
    onsets, of_pitch = out.onset, out.of_pitch
    last: tuple[float, bool] | None = None
    for at, index in enumerate(order):
        this = (beats[index], small[at])
        if this != last:
            out.beat.append(this[0] - (GRACE_LEAD_BEATS if small[at] else 0.0))
            out.first.append(at)
            last = this
        onsets.append(len(out.beat) - 1)
        of_pitch.setdefault(pitch[at], []).append(at)
    out.first.append(len(order))
    for other, struck in same_key.items():
        out.shared.setdefault(struck, []).append(other)
    shaken = [at for at, note in enumerate(notes) if note.marks & FREE_MARKS == {NoteMark.TREMOLO}]
    for at in shaken:  # written of two notes, each stands at an onset of its own
        pitches = (pitch[by] for by in shaken if abs(onsets[by] - onsets[at]) <= 1)
        out.tremolo[at] = frozenset(pitches)
    return out
