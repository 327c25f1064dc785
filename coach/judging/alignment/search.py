"""The likeliest readings of a whole take: those of a wide search, mostly by a narrow one.

Few readings are kept at first. A reading only grows costlier: so what was dropped can't win, or
would have been dropped later anyway, as long as the best costs less than it did. Where that is not
so, the keys since then are heard once more, and now all readings are kept that may yet win.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf
from operator import itemgetter

from coach.judging.alignment.ambiguity import UNSURE_BELOW
from coach.judging.alignment.beam_search import GIVEN_BACK, NEAR, CountingDecoder, Decoder
from coach.judging.alignment.hypothesis import Reading
from coach.judging.alignment.transitions import Moves
from coach.playing.notes import PlayedNote

NARROW = 7.5
"""How far behind the best a reading is kept at first: a slip costs five and a little. What it saves
is seen in the times of ``python -m scripts.bench_ear``."""
AS_GOOD = UNSURE_BELOW + GIVEN_BACK
"""How much costlier than the best a reading may be now, to be about as good in the end."""


def decode(
    moves: Moves, take: Sequence[PlayedNote], period_s: float, below: float = inf
) -> list[tuple[float, Reading]]:
    """The likeliest readings of a take (in the order of onsets), with their costs.

    The first, all that are about as good, and perhaps others; none where all cost ``below`` or
    more.
    """
    readings = _Search(moves, take, period_s, below + AS_GOOD).readings()
    if not readings or readings[0][0] >= below:
        return []
    cost, likeliest = readings[0]
    if cost > likeliest.cost or likeliest.gap_end:
        readings += _counted(moves, take, period_s, cost + AS_GOOD)
        readings.sort(key=itemgetter(0))
    return readings


def _counted(
    moves: Moves, take: Sequence[PlayedNote], period_s: float, most: float
) -> list[tuple[float, Reading]]:
    """Where notes were skipped, or the end was not reached: readings that skip elsewhere.

    They cost as much in the end, but it is paid at the skip: so they may have been given up.
    """
    decoder = CountingDecoder(moves, period_s, len(take), most)
    for note in take:
        decoder.hear(note)
    return decoder.readings()


class _Search:
    def __init__(
        self, moves: Moves, take: Sequence[PlayedNote], period_s: float, most: float
    ) -> None:
        """No reading that costs more than ``most`` is of use."""
        self.take = take
        self.most = most
        self.decoder = Decoder(moves, period_s, wide=NARROW, most=most)

    def readings(self) -> list[tuple[float, Reading]]:
        """Hear all keys; then what is left of the readings."""
        decoder = self.decoder
        for note in self.take:
            decoder.hear(note)
            if decoder.limit <= decoder.state.cost + NEAR:  # the take fits surely again
                self._is_wider(decoder.limit + GIVEN_BACK)
        readings = decoder.readings()
        while self._is_wider(readings[0][0] + AS_GOOD if readings else inf):
            readings = decoder.readings()
        return readings

    def _is_wider(self, most: float) -> bool:
        """Whether a reading was dropped that cost less: then the keys since were heard again."""
        decoder = self.decoder
        most = min(most, self.most)
        if decoder.state.dropped_from >= most:
            return False
        since, end = decoder.state.dropped_at, decoder.count
        self._hear_widely(since, end, most)
        if not decoder.beam:  # more was given back
            self._hear_widely(since, end, self.most)
        return True

    def _hear_widely(self, since: int, end: int, most: float) -> None:
        decoder = self.decoder
        decoder.go_back(since)
        decoder.wide, decoder.most = inf, most
        for note in self.take[since:end]:
            decoder.hear(note)
        decoder.wide, decoder.most = NARROW, self.most
