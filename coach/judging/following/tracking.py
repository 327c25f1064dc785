"""What the keys heard so far are taken for, while the tempo is still being found."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf

from coach.judging.alignment import (
    COSTS,
    MOST_LIVE,
    Decoder,
    Layout,
    Moves,
    Trace,
    beat_period,
    neighbours_of,
)
from coach.playing.notes import PlayedNote

SETTLING = 8
"""For so many keys the tempo is guessed anew with each,"""
SETTLED = 16
"""then with every fourth, up to so many: from then on the readings follow it by themselves."""
UNLIKELY = 3.5
"""While it settles, the tempo is no further than this ratio from the one asked for."""
CHORD_S = 0.05
"""Keys this close together are one chord: a melody leads by some 30 ms (Goebl 2001)."""
MOST_BACK = 12
"""Places of a key's pitch, those nearest, that a jump back may be to, besides the window's
beginning. In a whole piece there may be a hundred; own choice, because who goes farther back than
that has turned the page, and the verdict finds it."""
MOST_WORK = 100
"""Readings taken one key further while one key goes down, besides its own: some six milliseconds.
In fewer than 1 key of 100 of ``scripts/earcases`` more is needed; it comes with the next one."""
FEW = 8
"""Readings kept, at the least, where several keys are taken in at once,"""
MANY_KEYS = 16
FEWEST = 2
"""and where more than so many are: they are taken in anew because they are as written."""
ALIKE = 1.25
"""A new guess within this ratio of the last changes nothing."""


class Understanding:
    """The likeliest reading of a take in the making, and its labels."""

    def __init__(self, layout: Layout, usual_s: float) -> None:
        self.layout = layout
        self.moves = Moves(layout, COSTS, MOST_BACK)
        self._neighbours = neighbours_of(layout)
        self.usual_s = usual_s
        """Seconds in a beat at the tempo asked for."""
        self._left = MOST_WORK
        """Readings that may yet be taken further while this key goes down."""
        self.forget()

    def forget(self) -> None:
        """Nothing heard yet."""
        self._at(self.usual_s)
        self._better: Decoder | None = None
        """At a better tempo, until it has heard all that the other has."""
        self.trace = Trace(self.layout)

    def hear(self, take: list[PlayedNote]) -> None:
        """Take the last key in; while the tempo is not settled, all keys at a better tempo."""
        self._left = MOST_WORK
        count = len(take)
        if count <= SETTLING or (count <= SETTLED and count % 4 == 0):
            period = self._period_s(take)
            if not 1 / ALIKE < period / (self._better or self.decoder).guess_s < ALIKE:
                self._better = self._decoder(period)
        self.catch_up(take)

    def begin_again(self, take: list[PlayedNote]) -> None:
        """Take all keys in, at the tempo that they show."""
        self._better = None
        self._at(self._period_s(take))
        self.catch_up(take)

    def catch_up(self, take: Sequence[PlayedNote]) -> None:
        """Take in the keys not heard yet, as far as there is time to in one key.

        At a better tempo perhaps not all of them: then the rest comes with the next keys, and until
        then what is heard is understood at the old one.
        """
        if self._better:
            self._left -= _hear(self._better, take, self._left)
            if self._better.count == len(take):
                self.decoder, self._better = self._better, None
        behind = len(take) - self.decoder.count
        if behind > 1:
            least = FEW if behind <= MANY_KEYS else FEWEST
            self.decoder.most_kept = max(self._left // behind, least)
            self._left -= _hear(self.decoder, take)
            self.decoder.most_kept = MOST_LIVE
        else:
            _hear(self.decoder, take)
        if take:
            self.trace.follow(self.decoder.beam[0])

    def _at(self, period_s: float) -> None:
        self.decoder = self._decoder(period_s)

    def _decoder(self, period_s: float) -> Decoder:
        return Decoder(self.moves, period_s, again=False)

    def _period_s(self, take: Sequence[PlayedNote]) -> float:
        least_s = self.usual_s / UNLIKELY
        period = beat_period(
            self.layout,
            take,
            self.usual_s,
            least_s=least_s,
            apart_s=CHORD_S,
            neighbours=self._neighbours,
        )
        return min(max(period, least_s), self.usual_s * UNLIKELY)


def _hear(decoder: Decoder, take: Sequence[PlayedNote], most: float = inf) -> int:
    """Take in keys as long as no more than so many readings are taken further; how many were."""
    spent = 0
    for note in take[decoder.count :]:
        if spent + len(decoder.beam) > most:
            break
        spent += len(decoder.beam)
        decoder.hear(note)
    return spent
