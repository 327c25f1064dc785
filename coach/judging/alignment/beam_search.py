"""Which readings are kept after a key: the likeliest, and of each onset reached at least one.

Decoding: the likeliest reading of a take, key by key, as a beam of hypotheses.

A reading says where each hand is in the score, which notes it has played, and how fast time
goes. Each struck key extends it in every way that makes sense (``matching_moves``); readings that
have come to the same place are merged, and those far costlier than the best are dropped.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import takewhile
from math import inf
from operator import attrgetter
from typing import NamedTuple

from coach.judging.alignment.beam_cells import Places
from coach.judging.alignment.hypothesis import NEVER, Key, Reading, opening
from coach.judging.alignment.transitions import Moves, Ways
from coach.playing.notes import PlayedNote


def likeliest(
    found: list[Reading],
    limit: float,
    count: int,
    rank: Callable[[Reading], float],
    most: int | None = None,
) -> list[Reading]:
    """Of readings in the order of their ``rank``, up to a limit: so many, and one of each onset
    that none of them has come to; never more than ``most``.

    Where the place was lost there are so many like readings of the wrong one that, but for this,
    they would crowd out the right one.
    """
    count = count if most is None else min(count, most)
    kept = [reading for reading in found[:count] if rank(reading) <= limit]
    if len(kept) < count:
        return kept
    fronts = {reading.front for reading in kept}
    for reading in takewhile(lambda one: rank(one) <= limit, found[count:]):
        if reading.front not in fronts:
            if len(kept) == most:
                break
            fronts.add(reading.front)
            kept.append(reading)
    return kept


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
NEAR = 4.0
"""How far behind the best a reading is kept in any case: where all fits surely, none is further."""
GIVEN_BACK = 0.6
"""How much less a reading may cost later on: so much is given back where a note that was left out
comes after all. A reading may have more than one; that all the same nothing is lost is held by
``tests/test_matching_whole.py``."""


MOST_LIVE = 48
"""Readings kept while the pianist plays, where each key may take only so long: among 17,000 keys of
``scripts/earcases`` there never were more; in a whole piece, played as if it were another, there
would be hundreds, and some of them matter to a verdict, for which there is time."""


class State(NamedTuple):
    """What is made of the keys so far."""

    beam: list[Reading]
    """The readings kept, the likeliest first."""
    cost: float
    """What the likeliest costs; infinite where none is kept."""
    calm: int
    """How many keys in a row fitted surely."""
    dropped_from: float
    """Readings from this cost on were not kept that should have been,"""
    dropped_at: int
    """from this key on."""


class Struck(NamedTuple):
    """A key, and what was made of those before it."""

    key: Key
    before: State
    careful: bool
    """Whether the key was heard carefully."""


class Decoder:
    """Takes a take's keys one by one, in the order of their onsets."""

    rank: Callable[[Reading], float] = staticmethod(attrgetter("cost"))
    """What readings are compared by."""
    slack = 0.0
    """By how much more than it costs a reading may be the better one by that."""

    def __init__(
        self, moves: Moves, period_s: float, *, again: bool = True, wide: float = inf,
        most: float = inf,
    ) -> None:  # fmt: skip
        """``again``: keys that fit badly are heard again; while playing there is no time to.

        ``wide``: how far behind the best a reading is kept, if not as far as it should be;
        ``most``: a reading that costs more is not kept.
        """
        self.moves = moves
        self.costs = moves.costs
        self.hears_again = again
        self.most_kept = None if again else MOST_LIVE
        self.wide = wide
        self.most = most
        self.guess_s = period_s
        self.scale = BEAT / period_s
        self.state = State([opening(BEAT)], 0.0, 0, inf, 0)
        self.count = 0
        self.heard: list[Struck] = []
        self.limit = inf
        """What a reading may cost that should be kept now."""

    @property
    def period_s(self) -> float:
        """Seconds in a beat now, by the likeliest reading."""
        return self.beam[0].period_s / self.scale

    @property
    def beam(self) -> list[Reading]:
        """The readings kept, the likeliest first."""
        return self.state.beam

    def hear(self, note: PlayedNote) -> None:
        """Extend every reading by one more key.

        Where it fits badly, the keys struck together with it are heard again, more carefully.
        """
        key, before = self._key(note), self.state
        self._take_in(key, careful=False)
        if self.hears_again:
            self.heard.append(Struck(key, before, careful=False))
            if self.state.cost - before.cost > self.costs.doubtful:
                self._again(key.at - TOGETHER_S)

    def _again(self, since: float) -> None:
        """Hear the keys after a time again, from the first that was heard in passing."""
        first = self.count
        while first > 0 and self.heard[first - 1].key.at > since:
            first -= 1
        while self.heard[first].careful:
            first += 1
        again = self.heard[first:]
        self.go_back(first)
        for key, _, _ in again:
            self.heard.append(Struck(key, self.state, careful=True))
            self._take_in(key, careful=True)

    def go_back(self, count: int) -> None:
        """Forget all keys but so many."""
        self.state, self.count = self.heard[count].before, count
        del self.heard[count:]

    def _take_in(self, key: Key, *, careful: bool) -> None:
        state, costs, places = self.state, self.costs, Places()
        sure = costs.width if careful else costs.width * WIDTHS[state.calm]
        surely = NEVER if careful else costs.surely
        slack, wide = self.slack, min(costs.width, self.wide)
        ways = Ways(key, self.count, surely, min(sure, wide) + slack, wide + slack)
        bound = min(state.cost + (costs.brush if key.soft else costs.extra) + ways.wide, self.most)
        for reading in state.beam:
            if reading.cost <= bound:
                bound = self.moves.of(reading, ways, bound, places)
        self.count += 1
        self.state = self._kept(places.all(), sure)

    def _kept(self, found: list[Reading], sure: float) -> State:
        """What is kept of the readings found for the last key."""
        old, costs, rank = self.state, self.costs, self.rank
        if not found:
            return State([], inf, 0, old.dropped_from, old.dropped_at)
        found.sort(key=rank)
        best, least = found[0], rank(found[0])
        is_calm = best.cost - old.cost < costs.surely and _grown(best, old.beam[0])
        calm = min(old.calm + 1, len(WIDTHS) - 1) if is_calm else 0
        self.limit = least + (sure if is_calm else costs.width)
        limit = min(self.limit, self.most)
        dropped_from, dropped_at = old.dropped_from, old.dropped_at
        if dropped_from >= self.limit + GIVEN_BACK:
            dropped_from = inf
        if self.wide < inf:  # what costs more than something dropped is of no use any more
            limit = min(limit, least + self.wide, max(dropped_from, least + NEAR))
        if limit < self.limit:
            dropped_at = self.count - 1 if dropped_from == inf else dropped_at
            dropped_from = min(dropped_from, limit)
        kept = likeliest(found, limit, costs.beam, rank, self.most_kept)
        return State(kept, best.cost, calm, dropped_from, dropped_at)

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


class CountingDecoder(Decoder):
    """Knows how many keys there are, and so how many notes are sure to be left out yet.

    A reading that has skipped has paid already for what another will pay at the end.
    """

    def __init__(self, moves: Moves, period_s: float, keys: int, most: float) -> None:
        super().__init__(moves, period_s, most=most)
        self.keys = keys
        self.slack = self.costs.missed_most

    def rank(self, reading: Reading) -> float:
        """Its cost, with what is owed."""
        return reading.cost + self.moves.owed(reading, self.keys - self.count)


def _grown(reading: Reading, before: Reading) -> bool:
    """Whether a reading is the other with one more key."""
    return reading.step is not None and reading.step[0] is before.step
