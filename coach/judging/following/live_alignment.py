"""Live alignment: the same beam search key by key, while the tempo is still being found.

A beam takes in a key in the time there is before the next; a better guess at the tempo starts a
second beam, which takes in all keys again, some with each key that is struck, and then replaces the
first. From the likeliest hypothesis the marks on the notes are read: right ones at once, wrong ones
when sure.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf

from coach.judging.alignment import (
    COSTS,
    MOST_LIVE,
    Decoder,
    ExactMatcher,
    Hypothesis,
    Labels,
    ScoreArrays,
    StepKind,
    Trace,
    Transitions,
    beat_period,
    count_neighbours,
    likely_hand,
    make_score_arrays,
    read_labels,
)
from coach.judging.following.begin_end import find_opening_pitches
from coach.judging.following.events import FollowerEvent, NoteMarked, StrayKey
from coach.judging.instead import Surroundings
from coach.judging.model import Label
from coach.playing.notes import PlayedNote
from coach.score.window import Excerpt

# What following needs of a window.

MOST_BACK = 12
"""Notes of a key's pitch, those nearest, that a jump back may be to, besides the window's
beginning. In a whole piece there may be a hundred; own choice, because who goes farther back than
that has turned the page, and the verdict finds it."""


class FollowedWindow:
    """One window, made ready to be followed. Making it takes a moment for each of its notes."""

    def __init__(self, excerpt: Excerpt, surroundings: Surroundings | None = None) -> None:
        """``surroundings``: what is written around the window, where that is known."""
        self.excerpt = excerpt
        self.surroundings = surroundings
        self.score = make_score_arrays(excerpt)
        self.transitions = Transitions(self.score, COSTS, MOST_BACK)
        self.neighbours = count_neighbours(self.score)
        self.exact = ExactMatcher(excerpt)
        self.openers = find_opening_pitches(self.score)


# The beam search, key by key.

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


# Live marks on the notes.

SURE = 8.0
"""A wrong key is told at once where the next best hypothesis, by which it is right, costs so much
more, in nats; otherwise with the next key,"""
WAIT_S = 0.25
"""or after this time. Own choice, both, because a wrong accusation is worse than a late one: the
next key mostly comes sooner."""
MISSED_ONSETS = 2
"""A note is missed once its hand is more than so many onsets past it. Own choice, because a late
note of a chord may still come."""
STRAY_KEYS = 3
"""So many keys back it is looked for strays: one key changes the label of no more before it. Own
choice, because a stray told late is of no use."""


class Marks:
    """What the pianist has been shown, and what is to be shown next."""

    def __init__(self, score: ScoreArrays) -> None:
        self.score = score
        self.shown: dict[int, Label] = {}
        self.told_keys: set[int] = set()
        """Keys of which it was said that the score does not ask for them."""
        self.swept = [0, 0]
        """Onset of each hand before which notes left out have been looked for."""

    def update_after_key(
        self, trace: Trace, decoder: Decoder, take: list[PlayedNote]
    ) -> list[FollowerEvent]:
        """What changes with the key just heard."""
        hypothesis = decoder.beam[0]
        known = len(take) - 1
        if not _is_doubtful(decoder, known):
            known += 1
        out = self._mark_notes(trace, hypothesis, known)
        self._tell_strays(trace, take, known, out)
        return out

    def update_after_wait(
        self, trace: Trace, hypothesis: Hypothesis, take: list[PlayedNote]
    ) -> list[FollowerEvent]:
        """What is told when no key has come for a moment."""
        out = self._mark_notes(trace, hypothesis, len(take))
        self._tell_strays(trace, take, len(take), out)
        return out

    def _mark_notes(self, trace: Trace, hypothesis: Hypothesis, known: int) -> list[FollowerEvent]:
        self._sweep_missed(trace, hypothesis)
        out: list[FollowerEvent] = []
        later: set[int] = set()
        for note in sorted(trace.changed):
            key = trace.current.get(note)
            label = None if key is None else trace.keys[key][0]
            if key is None and self._is_past(hypothesis, note) and not self.score.optional[note]:
                label = Label.MISSED
            if label is Label.WRONG and key is not None and key >= known:
                later.add(note)
            elif self.shown.get(note) is not label:
                if label is None:
                    del self.shown[note]
                else:
                    self.shown[note] = label
                written = self.score.note[note]
                shared = self.score.shared.get(written, ())
                out += [NoteMarked(one, label) for one in (written, *shared)]
        trace.changed = later
        return out

    def _sweep_missed(self, trace: Trace, hypothesis: Hypothesis) -> None:
        """Look at the notes that a hand has left behind: ``MISSED_ONSETS`` back, to be sure."""
        for hand, front in ((0, hypothesis.right), (1, hypothesis.left)):
            end = max(front - MISSED_ONSETS, 0)
            if end < self.swept[hand]:
                self.swept[hand] = end
            for note in range(self.score.first[self.swept[hand]], self.score.first[end]):
                if self.score.hand[note] == hand and note not in trace.current:
                    trace.changed.add(note)
            self.swept[hand] = end

    def _is_past(self, hypothesis: Hypothesis, note: int) -> bool:
        front = hypothesis.left if self.score.hand[note] else hypothesis.right
        return self.score.onset[note] < front - MISSED_ONSETS

    def _tell_strays(
        self, trace: Trace, take: list[PlayedNote], known: int, out: list[FollowerEvent]
    ) -> None:
        for key in range(max(known - STRAY_KEYS, 0), known):
            if trace.keys[key][0] is Label.EXTRA and key not in self.told_keys:
                self.told_keys.add(key)
                out.append(
                    StrayKey(take[key].pitch, likely_hand(self.score, trace.keys, take, key))
                )


def _is_doubtful(decoder: Decoder, key: int) -> bool:
    """Whether a hypothesis in which the last key is right is about as good as the best."""
    best = decoder.beam[0]
    for hypothesis in decoder.beam[1:]:
        if hypothesis.cost - best.cost > SURE:
            return False
        step = hypothesis.step
        if step is not None and step.key == key and step.kind is StepKind.MATCH:
            return True
    return False
