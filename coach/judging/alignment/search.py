"""Iterative widening: the best hypotheses of a wide beam search, mostly by a narrow one.

Few hypotheses are kept at first. A hypothesis only grows costlier: so what was dropped can't win,
or would have been dropped later anyway, as long as the best costs less than it did. Where that is
not so, the keys since then are searched once more, and now all hypotheses are kept that may yet
win.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf
from operator import itemgetter

from coach.judging.alignment.ambiguity import UNSURE_BELOW
from coach.judging.alignment.beam_search import GIVEN_BACK, NEAR, CountingDecoder, Decoder
from coach.judging.alignment.hypothesis import Hypothesis
from coach.judging.alignment.transitions import Transitions
from coach.playing.notes import PlayedNote

NARROW = 7.5
"""How far behind the best a hypothesis is kept at first. Own choice, because a slip costs five and
a little. What it saves is seen in the times of ``python -m scripts.bench_ear``."""
AS_GOOD = UNSURE_BELOW + GIVEN_BACK
"""How much costlier than the best a hypothesis may be now, to be about as good in the end."""


def search(
    transitions: Transitions, take: Sequence[PlayedNote], period_s: float, below: float = inf
) -> list[tuple[float, Hypothesis]]:
    """The likeliest hypotheses of a take (in the order of onsets), with their costs.

    The first, all that are about as good, and perhaps others; none where all cost ``below`` or
    more.
    """
    found = _WideningSearch(transitions, take, period_s, below + AS_GOOD).run()
    if not found or found[0][0] >= below:
        return []
    cost, likeliest = found[0]
    if cost > likeliest.cost or likeliest.gap_end:
        found += _search_counting(transitions, take, period_s, cost + AS_GOOD)
        found.sort(key=itemgetter(0))
    return found


def _search_counting(
    transitions: Transitions, take: Sequence[PlayedNote], period_s: float, most: float
) -> list[tuple[float, Hypothesis]]:
    """Where notes were skipped, or the end was not reached: hypotheses that skip elsewhere.

    They cost as much in the end, but it is paid at the skip: so they may have been given up.
    """
    decoder = CountingDecoder(transitions, period_s, len(take), most)
    for note in take:
        decoder.add_key(note)
    return decoder.list_whole()


class _WideningSearch:
    def __init__(
        self, transitions: Transitions, take: Sequence[PlayedNote], period_s: float, most: float
    ) -> None:
        """No hypothesis that costs more than ``most`` is of use."""
        self.take = take
        self.most = most
        self.decoder = Decoder(transitions, period_s, wide=NARROW, most=most)

    def run(self) -> list[tuple[float, Hypothesis]]:
        """Search all keys; then what is left of the hypotheses."""
        decoder = self.decoder
        for note in self.take:
            decoder.add_key(note)
            if decoder.limit <= decoder.state.cost + NEAR:  # the take fits surely again
                self._widen(decoder.limit + GIVEN_BACK)
        found = decoder.list_whole()
        while self._widen(found[0][0] + AS_GOOD if found else inf):
            found = decoder.list_whole()
        return found

    def _widen(self, most: float) -> bool:
        """Whether a hypothesis was dropped that cost less: then the keys since were searched
        again."""
        decoder = self.decoder
        most = min(most, self.most)
        if decoder.state.dropped_from >= most:
            return False
        since, end = decoder.state.dropped_at, decoder.count
        self._search_widely(since, end, most)
        if not decoder.beam:  # more was given back
            self._search_widely(since, end, self.most)
        return True

    def _search_widely(self, since: int, end: int, most: float) -> None:
        decoder = self.decoder
        decoder.rewind(since)
        decoder.wide, decoder.most = inf, most
        for note in self.take[since:end]:
            decoder.add_key(note)
        decoder.wide, decoder.most = NARROW, self.most
