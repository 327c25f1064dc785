"""Ties merged: one note for what is struck once.

A note that ends a tie continues the open note of the same key that ends where it begins: first
one of its own voice and staff, then of its staff, then any. A tie that is begun and never ended
(a tie into another ending, a note left to ring) leaves the note its own length; an end without a
beginning is a note of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import groupby

from coach.score.model import FREE_MARKS, Mark
from coach.score.reading.raw import RawNote

_NEAR = Fraction(1, 16)
"""Exporters' rounding: a tie's two notes may miss each other by this much, in quarters."""
_LASTING = FREE_MARKS | {Mark.FERMATA}
"""Marks that count for the whole sound wherever they stand on it."""


@dataclass(slots=True)
class Tied:
    """A note as it is struck: one written note, or several that ties join."""

    first: RawNote
    onset: Fraction
    """In quarters from the start of the piece."""
    end: Fraction
    segments: list[Fraction] = field(default_factory=list)
    last: RawNote | None = None
    """The written note that ends it; None where that is the first."""


def merge_ties(notes: Iterable[tuple[Fraction, RawNote]]) -> list[Tied]:
    """Merge the notes, given with their onsets in the piece, in the order of their onsets."""
    in_order = sorted(notes, key=lambda pair: (pair[0], pair[1].grace is None))
    merged: list[Tied] = []
    waiting: dict[int, list[Tied]] = {}
    # A small note that is tied to its main note is struck before it, so it comes first.
    for _, group in groupby(in_order, key=lambda pair: (pair[0], pair[1].grace is None)):
        merged += _at_one_onset(list(group), waiting)
    return merged


def _at_one_onset(
    group: list[tuple[Fraction, RawNote]], waiting: dict[int, list[Tied]]
) -> list[Tied]:
    """Continue what waits for these notes; the rest are new."""
    joined = _continued(group, waiting)
    new: list[Tied] = []
    opened: list[Tied] = []
    for onset, note in group:
        tied = joined.get(id(note))
        if tied is None:
            tied = Tied(note, onset, onset + note.length, [note.length])
            new.append(tied)
        if note.tie_start:
            opened.append(tied)
    for tied in opened:
        waiting.setdefault(tied.first.spelling.midi, []).append(tied)
    return new


def _continued(
    group: list[tuple[Fraction, RawNote]], waiting: dict[int, list[Tied]]
) -> dict[int, Tied]:
    """The open note that each of these notes continues, by the note's identity."""
    joined: dict[int, Tied] = {}
    for is_kin in _KINSHIP:
        for onset, note in group:
            if note.tie_stop and id(note) not in joined:
                tied = _take(waiting.get(note.spelling.midi, []), onset, note, is_kin)
                if tied:
                    joined[id(note)] = tied
                    _lengthen(tied, note)
    return joined


def _take(
    candidates: list[Tied], onset: Fraction, note: RawNote, is_kin: Callable[..., bool]
) -> Tied | None:
    """Take out the candidate that ends where the note begins and is its kin."""
    candidates[:] = [tied for tied in candidates if tied.end >= onset - _NEAR]
    for tied in candidates:
        ends_here = abs(tied.end - onset) <= _NEAR
        if ends_here and is_kin(tied.last or tied.first, note):
            candidates.remove(tied)
            return tied
    return None


def _lengthen(tied: Tied, note: RawNote) -> None:
    first = tied.first
    if first.grace and note.length:
        # Struck before the beat and held: it is the main note, rolled in.
        first.grace = None
        first.marks |= note.marks | {Mark.ARPEGGIO}
        first.fingering = first.fingering or note.fingering
        tied.segments = []
    first.marks |= note.marks & _LASTING
    first.slurs = first.slurs + note.slurs
    tied.segments.append(note.length)
    tied.end += note.length
    tied.last = note


def _same_voice_and_staff(one: RawNote, other: RawNote) -> bool:
    return one.voice == other.voice and one.staff == other.staff


def _same_staff(one: RawNote, other: RawNote) -> bool:
    return one.staff == other.staff


def _any(one: RawNote, other: RawNote) -> bool:
    return True


_KINSHIP = (_same_voice_and_staff, _same_staff, _any)
