"""What the keys heard so far are taken for, while the tempo is still being found."""

from __future__ import annotations

from collections.abc import Sequence

from coach.judging.matching_costs import COSTS
from coach.judging.matching_decode import Decoder
from coach.judging.matching_moves import Moves
from coach.judging.matching_score import Layout
from coach.judging.matching_tempo import beat_period
from coach.judging.matching_trace import Trace
from coach.playing.notes import PlayedNote

SETTLING = 8
"""For so many keys the tempo is guessed anew with each,"""
SETTLED = 16
"""then with every fourth, up to so many: from then on the readings follow it by themselves."""
UNLIKELY = 3.5
"""While it settles, the tempo is no further than this ratio from the one asked for."""
CHORD_S = 0.05
"""Keys this close together are one chord: a melody leads by some 30 ms (Goebl 2001)."""
ALIKE = 1.25
"""A new guess within this ratio of the last changes nothing."""


class Understanding:
    """The likeliest reading of a take in the making, and its labels."""

    def __init__(self, layout: Layout, usual_s: float) -> None:
        self.layout = layout
        self.moves = Moves(layout, COSTS)
        self.usual_s = usual_s
        """Seconds in a beat at the tempo asked for."""
        self.forget()

    def forget(self) -> None:
        """Nothing heard yet."""
        self._at(self.usual_s)
        self.trace = Trace(self.layout)

    def hear(self, take: list[PlayedNote]) -> None:
        """Take the last key in; while the tempo is not settled, all keys at a better tempo."""
        count = len(take)
        if count <= SETTLING or (count <= SETTLED and count % 4 == 0):
            period = self._period_s(take)
            if not 1 / ALIKE < period / self.decoder.guess_s < ALIKE:
                self._at(period)
        self.catch_up(take)

    def begin_again(self, take: list[PlayedNote]) -> None:
        """Take all keys in, at the tempo that they show."""
        self._at(self._period_s(take))
        self.catch_up(take)

    def catch_up(self, take: Sequence[PlayedNote]) -> None:
        """Take in the keys not heard yet."""
        for note in take[self.decoder.count :]:
            self.decoder.hear(note)
        if take:
            self.trace.follow(self.decoder.beam[0])

    def _at(self, period_s: float) -> None:
        self.decoder = Decoder(self.moves, period_s, again=False)

    def _period_s(self, take: Sequence[PlayedNote]) -> float:
        least_s = self.usual_s / UNLIKELY
        period = beat_period(self.layout, take, self.usual_s, least_s=least_s, apart_s=CHORD_S)
        return min(max(period, least_s), self.usual_s * UNLIKELY)
