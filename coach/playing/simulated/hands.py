"""The evening player's hands: from notes on the page to keys that go down and come up.

A keyboard has one key for each pitch: it has to come up before it can be struck again, and a pitch
that both hands have at once is struck once.

How time scatters and how keys are held is the player's manner, drawn at dice. The families of
scatter are not those that the judging assumes: some have heavy tails, some wander, some sway with
the phrase. All figures without a source are our own choice of what people at home do, so that what
is called right here is right by any teacher's ear.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby, pairwise
from math import copysign, log, pi, sin
from random import Random

from coach.playing.simulated.gesture import Act, Do
from coach.score.model import Grace, Hand, NoteMark, ScoreNote

# The manner: how time scatters and keys are held.

SHORTEST_GAP_S = 0.085
"""No hand is asked for more than twelve onsets a second: a good amateur's limit."""
SCATTER_SHARE = 0.12
"""Scatter as a share of the time between onsets, at the most: it shrinks where the notes are fast,
or the playing would not be right."""
FARTHEST = 2.2
"""Standard deviations beyond which a right onset does not stray."""
CLICK_SCATTER_S = 0.014
"""Scatter of one who is with a click, at the most."""
CLICK_FARTHEST_S = 0.032
"""How far a right onset strays from the click at the most, the constant offset aside: well within
two standard deviations of untrained tapping (25 ms; Repp 2005)."""


@dataclass(frozen=True, slots=True)
class Manner:
    """How one player plays, for an evening."""

    family: str
    """How onsets scatter: gaussian, laplace, even, wandering, lumpy."""
    scatter_s: float
    """Standard deviation of an onset, in seconds."""
    clock_share: float
    """Standard deviation of an interval that adds up, as a share of it."""
    sway: float
    """How far the tempo sways with the phrase, as a share."""
    drift: float
    """How far the tempo rises or sinks over a repetition, as a share."""
    spread_s: float
    """How far the keys of a chord lie apart at the most."""
    rolls: bool
    """Chords from below, instead of in any order."""
    lead_s: float
    """How far one hand leads."""
    held: float
    """Share of the time to the hand's next onset for which keys are held; more than 1 overlaps."""
    held_scatter: float
    velocity: float
    velocity_scatter: float
    tempo_low: float
    tempo_high: float
    """Bounds of the own tempo, as shares of the one asked for."""
    click_offset_s: float

    @classmethod
    def draw_manner(cls, dice: Random) -> Manner:
        """A manner as any other."""
        low = dice.uniform(0.5, 1.0)
        return cls(
            family=dice.choice(("gaussian", "laplace", "even", "wandering", "lumpy")),
            scatter_s=dice.uniform(0.010, 0.035),
            clock_share=dice.uniform(0.0, 0.03),
            sway=dice.choice((0.0, dice.uniform(0.0, 0.06))),
            drift=dice.uniform(-0.08, 0.08),
            spread_s=dice.uniform(0.002, 0.040),
            rolls=dice.random() < 0.3,
            lead_s=dice.choice((0.0, dice.uniform(-0.02, 0.03))),
            held=dice.choice((0.5, 0.7, 0.85, 0.95, 1.02, 1.1)),
            held_scatter=dice.uniform(0.02, 0.15),
            velocity=dice.uniform(25, 95),
            velocity_scatter=dice.uniform(3, 15),
            tempo_low=low,
            tempo_high=dice.uniform(max(low, 0.8), 1.3),
            click_offset_s=dice.uniform(-0.045, 0.020),
        )

    def scatter(self, dice: Random) -> Callable[[], float]:
        """Draws of a deviation with standard deviation 1, cut off where right ends."""
        state = 0.0

        def draw() -> float:
            nonlocal state
            if self.family == "gaussian":
                value = dice.gauss(0, 1)
            elif self.family == "laplace":
                value = copysign(-log(1 - dice.random()), dice.random() - 0.5) / 2**0.5
            elif self.family == "even":
                value = dice.uniform(-(3**0.5), 3**0.5)
            elif self.family == "wandering":
                state = 0.8 * state + 0.6 * dice.gauss(0, 1)
                value = state
            else:  # mostly well, now and then not
                value = dice.gauss(0, 2.0 if dice.random() < 0.2 else 0.5)
            return min(max(value, -FARTHEST), FARTHEST)

        return draw


def in_time(
    gaps_quarters: Sequence[float], quarter_s: float, manner: Manner, dice: Random
) -> list[float]:
    """When each onset comes, the first at about 0; the gaps lie between one and the next."""
    draw = manner.scatter(dice)
    count = max(len(gaps_quarters), 1)
    phase, waves = dice.uniform(0, 2 * pi), dice.uniform(0.5, 2.0)
    clock_s, times = 0.0, []
    for at, gap in enumerate([0.0, *gaps_quarters]):
        share = at / count
        slower = (
            1 + manner.drift * (share - 0.5) + manner.sway * sin(phase + 2 * pi * waves * share)
        )
        step_s = gap * quarter_s * slower
        clock_s += step_s * (1 + manner.clock_share * min(max(dice.gauss(0, 1), -2), 2))
        around_s = _around(gaps_quarters, at) * quarter_s
        times.append(clock_s + draw() * min(manner.scatter_s, SCATTER_SHARE * around_s))
    return _in_order(times)


def with_click(
    places_quarters: Sequence[float], quarter_s: float, manner: Manner, dice: Random
) -> list[float]:
    """When each onset comes against a click: places from the beat that is clicked at 0."""
    draw = manner.scatter(dice)
    sd_s = min(manner.scatter_s, CLICK_SCATTER_S)
    off = [min(max(draw() * sd_s, -CLICK_FARTHEST_S), CLICK_FARTHEST_S) for _ in places_quarters]
    return _in_order(
        [
            place * quarter_s + manner.click_offset_s + one
            for place, one in zip(places_quarters, off, strict=True)
        ]
    )


def _around(gaps: Sequence[float], at: int) -> float:
    """The shorter of the gaps before and after an onset."""
    near = [gap for gap in gaps[max(at - 1, 0) : at + 1] if gap > 0]
    return min(near, default=1.0)


def _in_order(times: list[float]) -> list[float]:
    """The same, where no onset comes before the one it follows."""
    for at in range(1, len(times)):
        times[at] = max(times[at], times[at - 1] + 0.02)
    return times


# The hands: from notes on the page to keys.

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
