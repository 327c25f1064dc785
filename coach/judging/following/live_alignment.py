"""Live alignment: the same beam search key by key, while the tempo is still being found.

A beam takes in a key in the time there is before the next; a better guess at the tempo starts a
second beam, which takes in all keys again, some with each key that is struck, and then replaces the
first.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf

from coach.judging.alignment import (
    MOST_LIVE,
    Decoder,
    Hypothesis,
    Labels,
    Trace,
    beat_period,
    read_labels,
)
from coach.judging.following.followed_window import FollowedWindow
from coach.playing.notes import PlayedNote

SETTLING_KEYS = 8
"""For so many keys the tempo is guessed anew with each,"""
SETTLED_KEYS = 16
"""then with every fourth, up to so many. Own choice, because from then on the hypotheses follow the
tempo by themselves."""
GUESS_EVERY_KEYS = 4
"""Own choice, because between two guesses some notes have to be new."""
UNLIKELY_RATIO = 3.5
"""While it settles, the tempo is no further than this ratio from the one asked for. Own choice,
because who practises slowly plays at a third of it and hardly slower."""
APART_S = 0.05
"""Keys this close together are one chord: a melody leads by some 30 ms (Goebl 2001)."""
MOST_WORK = 100
"""Hypotheses taken one key further for one stroke, besides its keys' own: some six milliseconds. In
fewer than 1 key of 100 of ``scripts/earcases`` more is needed; it comes with the next stroke, for a
chord's ten keys are shown together."""
FEW = 8
"""Hypotheses kept, at the least, where several keys are taken in at once,"""
MANY_KEYS, FEWEST = 16, 2
"""and where there are more keys than that: they are taken in anew because they are as written. Own
choice, by the same bound of work."""
SAME_GUESS = 1.25
"""A new guess within this ratio of the last changes nothing. Own choice, because the hypotheses
follow such a difference by themselves."""


class LiveAlignment:
    """The likeliest hypothesis of a take in the making, and its labels."""

    def __init__(self, window: FollowedWindow, usual_s: float) -> None:
        self.score = window.score
        self.transitions = window.transitions
        self._neighbours = window.neighbours
        self.usual_s = usual_s
        """Seconds in a beat at the tempo asked for."""
        self._work_left = MOST_WORK
        """Hypotheses that may yet be taken further while this key goes down."""
        self.forget()

    def forget(self) -> None:
        """Nothing played yet."""
        self.decoder = self._make_decoder(self.usual_s)
        self._better: Decoder | None = None
        """At a better tempo, until it has taken in all keys that the other has."""
        self.trace = Trace(self.score)
        self._at_rest: tuple[Decoder, int, Hypothesis, Labels] | None = None

    @property
    def period_s(self) -> float:
        """Seconds in a beat now."""
        return self.decoder.period_s

    @property
    def likeliest(self) -> Hypothesis:
        """The likeliest hypothesis while more keys may come."""
        return self.decoder.beam[0]

    def find_at_rest(self) -> tuple[Hypothesis, Labels]:
        """The likeliest hypothesis if no more keys come, and its labels.

        What it has not played is left out then. While keys come, a wrong key that leaves its note
        to be played yet costs no more than one struck for it.
        """
        known = self._at_rest
        if known is None or known[0] is not self.decoder or known[1] != self.decoder.count:
            hypothesis = self.decoder.list_whole()[0][1]
            labels = read_labels(self.score, hypothesis)
            self._at_rest = known = (self.decoder, self.decoder.count, hypothesis, labels)
        return known[2], known[3]

    def add_key(self, take: list[PlayedNote]) -> None:
        """Take the last key in; while the tempo is not settled, all keys at a better tempo."""
        count = len(take)
        if count < 2 or take[-1].onset_s - take[-2].onset_s >= APART_S:
            self._work_left = MOST_WORK
        is_due = count <= SETTLED_KEYS and count % GUESS_EVERY_KEYS == 0
        if count <= SETTLING_KEYS or is_due:
            period_s = self._guess_period_s(take)
            guess_s = (self._better or self.decoder).guess_s
            if not 1 / SAME_GUESS < period_s / guess_s < SAME_GUESS:
                self._better = self._make_decoder(period_s)
        self._catch_up(take)

    def begin_again(self, take: list[PlayedNote]) -> None:
        """Take all keys in, at the tempo that they show."""
        self._better = None
        self.decoder = self._make_decoder(self._guess_period_s(take))
        self._catch_up(take)

    def _catch_up(self, take: Sequence[PlayedNote]) -> None:
        """Take in the keys that are new, as far as there is time to in one key.

        At a better tempo perhaps not all of them: then the rest comes with the next keys, and until
        then what is played is understood at the old one.
        """
        if self._better:
            self._work_left -= _add_keys(self._better, take, self._work_left)
            if self._better.count == len(take):
                self.decoder, self._better = self._better, None
        behind = len(take) - self.decoder.count
        if behind > 1:
            least = FEW if behind <= MANY_KEYS else FEWEST
            self.decoder.most_kept = max(self._work_left // behind, least)
            self._work_left -= _add_keys(self.decoder, take)
            self.decoder.most_kept = MOST_LIVE
        else:
            _add_keys(self.decoder, take)
        if take:
            self.trace.follow(self.decoder.beam[0])

    def _make_decoder(self, period_s: float) -> Decoder:
        return Decoder(self.transitions, period_s, again=False)

    def _guess_period_s(self, take: Sequence[PlayedNote]) -> float:
        least_s = self.usual_s / UNLIKELY_RATIO
        period_s = beat_period(
            self.score,
            take,
            self.usual_s,
            least_s=least_s,
            apart_s=APART_S,
            neighbours=self._neighbours,
        )
        return min(max(period_s, least_s), self.usual_s * UNLIKELY_RATIO)


def _add_keys(decoder: Decoder, take: Sequence[PlayedNote], most: float = inf) -> int:
    """Take in keys as long as no more than so many hypotheses are taken further; how many were."""
    spent = 0
    for note in take[decoder.count :]:
        if spent + len(decoder.beam) > most:
            break
        spent += len(decoder.beam)
        decoder.add_key(note)
    return spent
