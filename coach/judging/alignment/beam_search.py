"""Beam search: the likeliest hypothesis about a take, key by key (Lowerre 1976, the Harpy system).

A hypothesis says where each hand is in the score, which notes it has played, and how fast time
goes. Each struck key extends it in every way that makes sense (``transitions``); hypotheses that
have come to the same place are merged (``BeamCells``), and those far costlier than the best are
pruned: but of each onset reached at least one is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import takewhile
from math import inf
from operator import attrgetter, itemgetter
from typing import NamedTuple

from coach.judging.alignment.hypothesis import (
    NEVER,
    UNSURE_BELOW,
    BeamCells,
    Hypothesis,
    StruckKey,
    initial,
)
from coach.judging.alignment.transitions import Transitions, Widths
from coach.playing.notes import PlayedNote

BEAT_S = 0.6
"""A beat in the decoder's own time: the take is stretched to it, so that all costs hold at any
tempo, and playing faster or slower changes no label. Own choice, because 100 is a middling tempo:
the costs were found at it."""
BRUSH_S = 0.13
"""A key held shorter, in the decoder's own time, may only be brushed. Own choice, because a note
played is mostly held for longer than a fifth of a beat."""
SOFT_VELOCITY = 45
"""A velocity below which a short key may only be brushed,"""
VERY_SOFT_VELOCITY = 32
"""and below which one may that is still held. Own choice, because players who mean a note strike it
harder, on most instruments."""
TOGETHER_S = 0.15
"""Keys this close together, in the decoder's own time, may be one chord. Own choice, because it is
a sixteenth: a rolled chord takes as long."""
WIDTHS = (1.0, 1.0, 0.7, 0.45, 0.25)
"""How far behind the best a hypothesis is kept, as a share of the whole width, after so many keys
in a row that fitted it surely. Own choice, because what has fitted for long needs few others."""
NEAR = 4.0
"""How far behind the best a hypothesis is kept in any case: where all fits surely, none is further.
A quarter of the width, or a little more."""
GIVEN_BACK = 0.6
"""How much less a hypothesis may cost later on: so much is given back where a note that was left
out comes after all. A hypothesis may have more than one; that all the same nothing is lost is held
by ``tests/test_widening_search.py``."""
MOST_LIVE = 48
"""Hypotheses kept while the pianist plays, where each key may take only so long: among 17,000 keys
of ``scripts/earcases`` there never were more; in a whole piece, played as if it were another, there
would be hundreds, and some of them matter to a verdict, for which there is time."""


def prune(
    found: list[Hypothesis],
    limit: float,
    count: int,
    rank: Callable[[Hypothesis], float],
    most: int | None = None,
) -> list[Hypothesis]:
    """Of hypotheses in the order of their ``rank``, up to a limit: so many, and one of each onset
    that none of them has come to; never more than ``most``.

    Where the place was lost there are so many like hypotheses of the wrong one that, but for this,
    they would crowd out the right one.
    """
    count = count if most is None else min(count, most)
    kept = [hypothesis for hypothesis in found[:count] if rank(hypothesis) <= limit]
    if len(kept) < count:
        return kept
    fronts = {hypothesis.front for hypothesis in kept}
    for hypothesis in takewhile(lambda one: rank(one) <= limit, found[count:]):
        if hypothesis.front not in fronts:
            if len(kept) == most:
                break
            fronts.add(hypothesis.front)
            kept.append(hypothesis)
    return kept


class BeamState(NamedTuple):
    """What is made of the keys so far."""

    beam: list[Hypothesis]
    """The hypotheses kept, the likeliest first."""
    cost: float
    """What the likeliest costs; infinite where none is kept."""
    sure_keys: int
    """How many keys in a row fitted surely."""
    dropped_from: float
    """Hypotheses from this cost on were not kept that should have been,"""
    dropped_at: int
    """from this key on."""


class SearchedKey(NamedTuple):
    """A key, and what was made of those before it."""

    key: StruckKey
    before: BeamState
    is_careful: bool
    """Whether the key was searched with the whole width."""


class Decoder:
    """Takes a take's keys one by one, in the order of their onsets."""

    rank: Callable[[Hypothesis], float] = staticmethod(attrgetter("cost"))
    """What hypotheses are compared by."""
    slack = 0.0
    """By how much more than it costs a hypothesis may be the better one by that."""

    def __init__(
        self, transitions: Transitions, period_s: float, *, again: bool = True, wide: float = inf,
        most: float = inf,
    ) -> None:  # fmt: skip
        """``again``: keys that fit badly are searched again; while playing there is no time to.

        ``wide``: how far behind the best a hypothesis is kept, if not as far as it should be;
        ``most``: a hypothesis that costs more is not kept.
        """
        self.transitions = transitions
        self.costs = transitions.costs
        self.searches_again = again
        self.most_kept = None if again else MOST_LIVE
        self.wide = wide
        self.most = most
        self.guess_s = period_s
        self.scale = BEAT_S / period_s
        self.state = BeamState([initial(BEAT_S)], 0.0, 0, inf, 0)
        self.count = 0
        self.searched: list[SearchedKey] = []
        self.limit = inf
        """What a hypothesis may cost that should be kept now."""

    @property
    def period_s(self) -> float:
        """Seconds in a beat now, by the likeliest hypothesis."""
        return self.beam[0].period_s / self.scale

    @property
    def beam(self) -> list[Hypothesis]:
        """The hypotheses kept, the likeliest first."""
        return self.state.beam

    def add_key(self, note: PlayedNote) -> None:
        """Extend every hypothesis by one more key.

        Where it fits badly, the keys struck together with it are searched again, more carefully.
        """
        key, before = self._to_own_time(note), self.state
        self._search(key, careful=False)
        if self.searches_again:
            self.searched.append(SearchedKey(key, before, is_careful=False))
            if self.state.cost - before.cost > self.costs.doubtful:
                self._search_again(key.at_s - TOGETHER_S)

    def _search_again(self, since_s: float) -> None:
        """Search the keys after a time again, from the first that was searched in passing."""
        first = self.count
        while first > 0 and self.searched[first - 1].key.at_s > since_s:
            first -= 1
        while self.searched[first].is_careful:
            first += 1
        again = self.searched[first:]
        self.rewind(first)
        for key, _, _ in again:
            self.searched.append(SearchedKey(key, self.state, is_careful=True))
            self._search(key, careful=True)

    def rewind(self, count: int) -> None:
        """Forget all keys but so many."""
        self.state, self.count = self.searched[count].before, count
        del self.searched[count:]

    def _search(self, key: StruckKey, *, careful: bool) -> None:
        state, costs, cells = self.state, self.costs, BeamCells()
        sure = costs.width if careful else costs.width * WIDTHS[state.sure_keys]
        surely = NEVER if careful else costs.surely
        slack, wide = self.slack, min(costs.width, self.wide)
        widths = Widths(surely, min(sure, wide) + slack, wide + slack)
        extra = costs.brush if key.is_soft else costs.extra
        bound = min(state.cost + extra + widths.wide, self.most)
        for hypothesis in state.beam:
            if hypothesis.cost <= bound:
                bound = self.transitions.extend(hypothesis, key, widths, bound, cells)
        self.count += 1
        self.state = self._prune(cells.list_all(), sure)

    def _prune(self, found: list[Hypothesis], sure: float) -> BeamState:
        """What is kept of the hypotheses found for the last key."""
        old, costs, rank = self.state, self.costs, self.rank
        if not found:
            return BeamState([], inf, 0, old.dropped_from, old.dropped_at)
        found.sort(key=rank)
        best, least = found[0], rank(found[0])
        is_sure = best.cost - old.cost < costs.surely and _has_grown(best, old.beam[0])
        sure_keys = min(old.sure_keys + 1, len(WIDTHS) - 1) if is_sure else 0
        self.limit = least + (sure if is_sure else costs.width)
        limit = min(self.limit, self.most)
        dropped_from, dropped_at = old.dropped_from, old.dropped_at
        if dropped_from >= self.limit + GIVEN_BACK:
            dropped_from = inf
        if self.wide < inf:  # what costs more than something dropped is of no use any more
            limit = min(limit, least + self.wide, max(dropped_from, least + NEAR))
        if limit < self.limit:
            dropped_at = self.count - 1 if dropped_from == inf else dropped_at
            dropped_from = min(dropped_from, limit)
        kept = prune(found, limit, costs.beam, rank, self.most_kept)
        return BeamState(kept, best.cost, sure_keys, dropped_from, dropped_at)

    def _to_own_time(self, note: PlayedNote) -> StruckKey:
        if note.length_s is None:
            is_soft = note.velocity < VERY_SOFT_VELOCITY
        else:
            is_short = note.length_s * self.scale < BRUSH_S
            is_soft = note.velocity < SOFT_VELOCITY and is_short
        return StruckKey(self.count, note.pitch, note.onset_s * self.scale, is_soft)

    def list_whole(self) -> list[tuple[float, Hypothesis]]:
        """The hypotheses with what was never played paid for, the likeliest first."""
        end_cost = self.transitions.deletions.end_cost
        whole = [(one.cost + end_cost(one), one) for one in self.beam]
        whole.sort(key=lambda pair: pair[0])
        return whole


class CountingDecoder(Decoder):
    """Knows how many keys there are, and so how many notes are sure to be left out yet.

    A hypothesis that has skipped has paid already for what another will pay at the end.
    """

    def __init__(self, transitions: Transitions, period_s: float, keys: int, most: float) -> None:
        super().__init__(transitions, period_s, most=most)
        self.keys = keys
        self.slack = self.costs.missed_most

    def rank(self, hypothesis: Hypothesis) -> float:
        """Its cost, with what is sure to come."""
        to_come = self.keys - self.count
        return hypothesis.cost + self.transitions.deletions.least_to_come(hypothesis, to_come)


def _has_grown(hypothesis: Hypothesis, before: Hypothesis) -> bool:
    """Whether a hypothesis is the other with one more key."""
    return hypothesis.step is not None and hypothesis.step.previous is before.step


# Iterative widening: the best hypotheses of a wide beam search, mostly by a narrow one.
#
# Few hypotheses are kept at first. A hypothesis only grows costlier: so what was dropped can't win,
# or would have been dropped later anyway, as long as the best costs less than it did. Where that is
# not so, the keys since then are searched once more, and now all hypotheses are kept that may yet
# win.


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
