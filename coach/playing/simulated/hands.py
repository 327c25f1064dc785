"""The evening player's hands: from notes on the page to keys that go down and come up.

A keyboard has one key for each pitch: it has to come up before it can be struck again, and a pitch
that both hands have at once is struck once.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby, pairwise
from random import Random

from coach.playing.simulated.gesture import Act, Do
from coach.playing.simulated.manner import Manner, in_time, with_click
from coach.score.model import Grace, Hand, NoteMark, ScoreNote

LET_GO_S = 0.02
"""A key is up for this long before it can be struck again."""
OVERLAP_S = 0.06
"""The longest overlap of keys played legato."""
SHORT = frozenset({NoteMark.STACCATO, NoteMark.STACCATISSIMO})
LOWEST, HIGHEST = 21, 108
"""The piano's keys."""


@dataclass(slots=True)
class Stroke:
    """A key about to be struck."""

    at_s: float
    pitch: int
    velocity: int
    held_s: float


@dataclass(frozen=True, slots=True)
class StruckChord:
    """What is struck at one onset: a note or many."""

    onset_quarters: Fraction
    notes: tuple[ScoreNote, ...]

    @property
    def pitches(self) -> frozenset[int]:
        """Its keys."""
        return frozenset(note.pitch for note in self.notes)


def chords(notes: Iterable[ScoreNote]) -> tuple[StruckChord, ...]:
    """Notes in the order of their onsets, as chords."""
    rows = groupby(notes, lambda note: note.onset_quarters)
    return tuple(StruckChord(onset, tuple(row)) for onset, row in rows)


def gaps(row: Sequence[StruckChord]) -> list[float]:
    """The time between one chord and the next, in quarters."""
    return [float(b.onset_quarters - a.onset_quarters) for a, b in pairwise(row)]


Changes = Mapping[str, int | None]
"""For a note's id, another key; None where it is left out."""


class Fingers:
    """One player's fingers: every stroke is drawn from the player's manner."""

    def __init__(self, manner: Manner, dice: Random) -> None:
        self._manner, self._dice = manner, dice

    def play(
        self, row: Sequence[StruckChord], start_s: float, quarter_s: float, changes: Changes
    ) -> tuple[list[Stroke], float]:
        """The strokes of a stretch in time, and when its last chord came."""
        times = in_time(gaps(row), quarter_s, self._manner, self._dice)
        return self._strokes(row, [start_s + at for at in times], quarter_s, changes)

    def play_with_click(
        self,
        row: Sequence[StruckChord],
        beat_quarters: Fraction,
        beat_s: float,
        quarter_s: float,
        changes: Changes,
    ) -> tuple[list[Stroke], float]:
        """The same with a click that sounds at a beat of the score at ``beat_s``."""
        places = [float(one.onset_quarters - beat_quarters) for one in row]
        times = with_click(places, quarter_s, self._manner, self._dice)
        return self._strokes(row, [beat_s + at for at in times], quarter_s, changes)

    def velocity(self) -> int:
        """How hard a key is struck."""
        manner = self._manner
        return min(max(round(self._dice.gauss(manner.velocity, manner.velocity_scatter)), 1), 127)

    def _strokes(
        self, row: Sequence[StruckChord], times: Sequence[float], quarter_s: float, changes: Changes
    ) -> tuple[list[Stroke], float]:
        out: list[Stroke] = []
        for at, (chord, at_s) in enumerate(zip(row, times, strict=True)):
            room_s = times[at + 1] - at_s if at + 1 < len(times) else 1.0
            before_s = at_s - times[at - 1] if at else 1.0
            out += self._chord(chord, at_s, (before_s, room_s), quarter_s, changes)
        return out, times[-1]

    def _chord(
        self,
        chord: StruckChord,
        at_s: float,
        room: tuple[float, float],
        quarter_s: float,
        changes: Changes,
    ) -> list[Stroke]:
        """The keys of a chord; ``room``: the seconds to the one before it and to the next."""
        room_s = room[1]
        dice, manner = self._dice, self._manner
        spread_s = min(manner.spread_s, 0.3 * room_s)
        lead_s = min(max(manner.lead_s, -0.2 * room_s), 0.2 * room_s)
        small = [note for note in chord.notes if note.grace]
        main = sorted((n for n in chord.notes if not n.grace), key=lambda note: note.pitch)
        rolled = sum(NoteMark.ARPEGGIO in note.marks for note in main)
        out: list[Stroke] = []
        seen: set[int] = set()
        for rank, note in enumerate(main):
            pitch = changes.get(note.id, note.pitch)
            if pitch is None or pitch in seen:
                continue
            seen.add(pitch)
            late_s = dice.uniform(0, spread_s) if len(main) > 1 else 0.0
            if manner.rolls and len(main) > 1:
                late_s = spread_s * rank / (len(main) - 1)
            if rolled > 1 and NoteMark.ARPEGGIO in note.marks:
                late_s = min(0.045, 0.5 * room_s / rolled) * rank
            if note.hand is Hand.LEFT:
                late_s += lead_s
            out.append(self._stroke(pitch, at_s + late_s, self._held_s(note, quarter_s)))
        return out + self._small(small, at_s, room, changes)

    def _small(
        self,
        notes: Sequence[ScoreNote],
        at_s: float,
        room: tuple[float, float],
        changes: Changes,
    ) -> list[Stroke]:
        """Small notes: quickly before the main note, or at its end."""
        before = [note for note in notes if note.grace is Grace.BEFORE]
        after = [note for note in notes if note.grace is not Grace.BEFORE]
        before_s, room_s = room
        step_s = min(0.08, 0.3 * room_s, 0.7 * before_s / max(len(before), 1))
        out = []
        for row, first_s in (
            (before, at_s - step_s * len(before)),
            (after, at_s + max(room_s - step_s * (len(after) + 0.5), 0.3 * room_s)),
        ):
            for rank, note in enumerate(row):
                pitch = changes.get(note.id, note.pitch)
                if pitch is not None:
                    out.append(self._stroke(pitch, first_s + step_s * rank, 0.9 * step_s))
        return out

    def _held_s(self, note: ScoreNote, quarter_s: float) -> float:
        manner = self._manner
        written_s = float(note.length_quarters) * quarter_s
        share = 0.45 if note.marks & SHORT else manner.held
        share *= 1 + min(max(self._dice.gauss(0, manner.held_scatter), -0.3), 0.3)
        return min(max(written_s * share, 0.04), written_s + OVERLAP_S)

    def _stroke(self, pitch: int, at_s: float, held_s: float) -> Stroke:
        return Stroke(at_s, pitch, self.velocity(), held_s)


def acts_of(strokes: Iterable[Stroke]) -> list[Act]:
    """The strokes as keys that go down and up, each key once at a time."""
    out: list[Act] = []
    by_key: dict[int, list[Stroke]] = {}
    for stroke in strokes:
        stroke.pitch = min(max(stroke.pitch, LOWEST), HIGHEST)
        by_key.setdefault(stroke.pitch, []).append(stroke)
    for row in by_key.values():
        row.sort(key=lambda stroke: stroke.at_s)
        for before, after in pairwise(row):
            after.at_s = max(after.at_s, before.at_s + 2 * LET_GO_S)
            before.held_s = min(before.held_s, after.at_s - before.at_s - LET_GO_S)
        for stroke in row:
            out.append(Act(stroke.at_s, Do.DOWN, stroke.pitch, stroke.velocity))
            out.append(Act(stroke.at_s + stroke.held_s, Do.UP, stroke.pitch))
    return sorted(out, key=lambda act: act.at_s)


# Whether one row of chords could be taken for another: then no coach can tell what was meant.


def likeness(one: Sequence[StruckChord], other: Sequence[StruckChord], shift: int = 0) -> float:
    """Share of the first row's chords that come, in order, in the second, 0 to 1.

    ``shift`` moves the first row by semitones. Chords are alike that share half of their keys.
    """
    if not one or not other:
        return 0.0
    rows = [frozenset(pitch + shift for pitch in chord.pitches) for chord in one]
    columns = [chord.pitches for chord in other]
    best = [0] * (len(columns) + 1)
    for row in rows:
        corner = 0
        for at, column in enumerate(columns, start=1):
            above = best[at]
            is_like = 2 * len(row & column) >= max(len(row), len(column))
            best[at] = corner + 1 if is_like else max(above, best[at - 1])
            corner = above
    return best[-1] / len(rows)


def begins_like(strokes: Sequence[Stroke], row: Sequence[StruckChord]) -> bool:
    """Whether two keys running are the row's first two onsets, so that it may have been begun."""
    first = [chord.pitches for chord in row[:2]]
    return len(first) > 1 and any(
        [frozenset({one.pitch}), frozenset({next_one.pitch})] == first
        for one, next_one in pairwise(strokes)
    )
