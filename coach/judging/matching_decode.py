"""Decoding: the likeliest reading of a take, key by key, as a beam of hypotheses.

A reading says where each hand is in the score, which notes it has played, and how fast time
goes. Each struck key extends it in every way that makes sense (``matching_moves``); readings that
have come to the same place are merged, and those far costlier than the best are dropped.
"""

from __future__ import annotations

from collections.abc import Sequence

from coach.judging.matching_costs import Costs
from coach.judging.matching_moves import Moves
from coach.judging.matching_places import Places
from coach.judging.matching_reading import Key, Reading, opening
from coach.judging.matching_score import Layout
from coach.playing.notes import PlayedNote

BEAT = 0.6
"""A beat in the decoder's own time: the take is stretched to it, so that all costs hold at any
tempo, and playing faster or slower changes no label."""
BRUSH = 0.13
"""A key held shorter, in the decoder's own time, may only be brushed."""
SOFT = 45
"""A velocity below which a short key may only be brushed,"""
VERY_SOFT = 32
"""and below which one may that is still held."""
TOGETHER_S = 0.15
"""Keys this close together, in the decoder's own time, may be one chord."""
WIDTHS = (1.0, 1.0, 0.7, 0.45, 0.25)
"""How far behind the best a reading is kept, after so many keys in a row that fitted it surely."""


class Decoder:
    """Takes a take's keys one by one, in the order of their onsets."""

    def __init__(
        self, layout: Layout, period_s: float, costs: Costs, *, again: bool = True
    ) -> None:
        """``again``: keys that fit badly are heard again; while playing there is no time to."""
        self.moves = Moves(layout, costs)
        self.costs = costs
        self.hears_again = again
        self.guess_s = period_s
        self.scale = BEAT / period_s
        self.beam = [opening(BEAT)]
        self.count = 0
        self.calm = 0
        self.recent: list[tuple[Key, list[Reading], int, bool]] = []
        """The last keys, what was made of those before them, and whether heard carefully."""

    @property
    def period_s(self) -> float:
        """Seconds in a beat now, by the likeliest reading."""
        return self.beam[0].period_s / self.scale

    def hear(self, note: PlayedNote) -> None:
        """Extend every reading by one more key.

        Where it fits badly, the keys struck together with it are heard again, more carefully.
        """
        key = self._key(note)
        since = key.at - TOGETHER_S
        self.recent = [past for past in self.recent if past[0].at > since]
        self.recent.append((key, self.beam, self.calm, False))
        before = self.beam[0].cost
        self._take_in(key, careful=False)
        if self.hears_again and self.beam[0].cost - before > self.costs.doubtful:
            self._again()

    def _again(self) -> None:
        """Hear the last keys again from the first that was heard in passing."""
        first = next(at for at, past in enumerate(self.recent) if not past[3])
        again = self.recent[first:]
        _, self.beam, self.calm, _ = again[0]
        self.count -= len(again)
        for at, (key, _, _, _) in enumerate(again):
            self.recent[first + at] = (key, self.beam, self.calm, True)
            self._take_in(key, careful=True)

    def _take_in(self, key: Key, *, careful: bool) -> None:
        places = Places()
        before, width = self.beam[0], self.costs.width
        if not careful:
            width *= WIDTHS[self.calm]
        bound = before.cost + 2 * self.costs.width
        for reading in self.beam:
            if reading.cost > bound:
                break
            bound = self.moves.of(reading, self.count, key, bound, width, careful, places)
        self.count += 1
        beam = places.best()
        best = beam[0]
        calm = best.cost - before.cost < self.costs.surely and _grown(best, before)
        limit = best.cost + (width if calm else self.costs.width)
        self.beam = [r for r in beam[: self.costs.beam] if r.cost <= limit]
        self.calm = min(self.calm + 1, len(WIDTHS) - 1) if calm else 0

    def _key(self, note: PlayedNote) -> Key:
        if note.length_s is None:
            soft = note.velocity < VERY_SOFT
        else:
            soft = note.velocity < SOFT and note.length_s * self.scale < BRUSH
        return Key(note.pitch, note.onset_s * self.scale, soft)

    def readings(self) -> list[tuple[float, Reading]]:
        """Whole readings, what was never played paid for, the likeliest first."""
        done = [(r.cost + self.moves.unplayed(r), r) for r in self.beam]
        done.sort(key=lambda pair: pair[0])
        return done


def _grown(reading: Reading, before: Reading) -> bool:
    """Whether a reading is the other with one more key."""
    return reading.step is not None and reading.step[0] is before.step


def decode(
    layout: Layout, take: Sequence[PlayedNote], period_s: float, costs: Costs
) -> list[tuple[float, Reading]]:
    """The likeliest readings of a whole take (in the order of onsets), with their costs."""
    decoder = Decoder(layout, period_s, costs)
    for note in take:
        decoder.hear(note)
    return decoder.readings()
