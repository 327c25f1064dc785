"""Exact matching: keys that are note for note a run of the onsets written.

Most of what is played is right, and then no likelihoods are needed to say what it is: a part of the
window, or the whole of it after keys that were something else. Likelihoods would weigh a part
against a whole window with much left out, and take the one for the other where figures recur.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

from coach.judging.model import Label, Matching, PlayedLabel, ScoreLabel
from coach.playing.notes import ONE_STROKE_S, PlayedNote
from coach.score.window import Excerpt

LEAST_ONSETS = 3
"""A part from the middle of the window has at least so many onsets. Own choice, because fewer might
be anything."""
MOST_BEFORE = 24
"""No more keys than this are looked at that came before what seemed to be the first one. Own
choice, because each takes time, and the start of a repetition is seldom missed for longer."""


class OnsetRun(NamedTuple):
    """Onsets of the window that were played one after another, as numbers."""

    first: int
    last: int


class ExactMatcher:
    """One window, to be compared with keys note for note."""

    def __init__(self, excerpt: Excerpt) -> None:
        self.excerpt = excerpt
        self.onsets: list[dict[int, int]] = [{} for _ in excerpt.onsets_quarters]
        """Of each onset its keys, and which note each is."""
        end = excerpt.onsets_quarters[-1]
        self.is_exact = True
        """Whether no key is written twice at one onset."""
        self.ends_freely = any(n.is_free and n.onset_quarters == end for n in excerpt.notes)
        """Whether the last onset may have more keys than are written: of an ornament in the window
        one key may be all that is struck, but a trill on the last note is not over with that."""
        self.count = len(excerpt.notes) - len(excerpt.same_key)
        """How many keys the whole window has."""
        for index, (note, number) in enumerate(
            zip(excerpt.notes, excerpt.onset_numbers, strict=True)
        ):
            if index in excerpt.same_key:
                continue
            self.is_exact = self.is_exact and note.pitch not in self.onsets[number]
            self.onsets[number][note.pitch] = index

    def find_last_onset(self, pitches: Sequence[int], first: int, since: int = 0) -> int | None:
        """The last onset played, where the keys are exactly the onsets from ``first`` on.

        Of the last one only some keys may have been struck. ``since``: the keys from there on.
        """
        if since < len(pitches) and pitches[since] not in self.onsets[first]:
            return None
        number, due = first, set(self.onsets[first])
        for at in range(since, len(pitches)):
            pitch = pitches[at]
            if not due:
                number += 1
                if number == len(self.onsets):
                    return None
                due = set(self.onsets[number])
            if pitch not in due:
                return None
            due.remove(pitch)
        return number

    def find_whole(self, played: Sequence[PlayedNote]) -> int | None:
        """The key from which the last keys are exactly the whole window; None: they are not."""
        first = len(played) - self.count
        if first < 0 or not self.is_exact or self.ends_freely:
            return None
        if played[first].pitch not in self.onsets[0]:
            return None
        if first and played[first].onset_s - played[first - 1].onset_s < ONE_STROKE_S:
            return None
        is_whole = self.find_last_onset([note.pitch for note in played[first:]], 0) is not None
        return first if is_whole else None

    def find_ending(self, played: Sequence[PlayedNote]) -> int | None:
        """The key from which the last keys are exactly the window's last onsets.

        None where they may be others, or where the keys before them are no such endings, too.
        """
        pitches = [note.pitch for note in played]
        end = len(self.onsets) - 1
        if not self.is_exact or self.ends_freely:
            return None
        at, first = self._find_last_onsets(pitches)
        if end - first + 1 < LEAST_ONSETS or (at and first <= 1):  # the first one may be wrong
            return None
        if any(run.last != end for run in self._list_runs(pitches[at:], None)):
            return None
        before, since = at, end
        while before and since <= end:
            before, since = self._find_last_onsets(pitches[:before])
        return None if before else at

    def has_both_ends(self, played: Sequence[PlayedNote]) -> bool:
        """Whether the first keys are the window's first onset, and the last ones its last onsets:
        then all of it was for the window, whatever happened between."""
        pitches = [note.pitch for note in played]
        _, first = self._find_last_onsets(pitches)
        is_begun = set(pitches[: len(self.onsets[0])]) == set(self.onsets[0])
        return is_begun and len(self.onsets) - first >= min(LEAST_ONSETS, len(self.onsets))

    def _find_last_onsets(self, pitches: Sequence[int]) -> tuple[int, int]:
        """The first of the last keys that are exactly the window's last onsets, and which onset
        that is; one past the end where none are."""
        at, first = len(pitches), len(self.onsets)
        while first:
            before = at - len(self.onsets[first - 1])
            if before < 0 or set(pitches[before:at]) != set(self.onsets[first - 1]):
                break
            at, first = before, first - 1
        return at, first

    def is_part(self, played: Sequence[PlayedNote]) -> bool:
        """Whether the keys are exactly a part of the window, and of enough onsets to tell."""
        run = self.find_run(played, None)
        return run is not None and run.last - run.first + 1 >= LEAST_ONSETS

    def find_start(self, played: Sequence[PlayedNote], near: int) -> int:
        """The first key, but the very first, from which all keys are exactly the window's first.

        ``near`` where there is none.
        """
        if not self.is_exact:
            return near
        openers, earliest = self.onsets[0], max(1, len(played) - self.count)
        pitches = [note.pitch for note in played[earliest:]]
        begins = (
            at
            for at, pitch in enumerate(pitches, earliest)
            if pitch in openers
            and played[at].onset_s - played[at - 1].onset_s >= ONE_STROKE_S
            and self.find_last_onset(pitches, 0, at - earliest) is not None
        )
        return next(begins, near)

    def count_right(self, played: Sequence[PlayedNote]) -> int:
        """How many keys are right, where there is one for each note and they come in their turn."""
        at = right = 0
        for onset in self.onsets:
            chord = {note.pitch for note in played[at : at + len(onset)]}
            right += len(chord & onset.keys())
            at += len(onset)
        return right

    def find_after_first(self, played: Sequence[PlayedNote]) -> int | None:
        """The key from which all are exactly the whole window, and those before it only its first
        onset, tried once or more."""
        at = len(played) - self.count
        if at < 1 or played[at].onset_s - played[at - 1].onset_s < ONE_STROKE_S:
            return None
        pitches = [note.pitch for note in played]
        is_tried = set(pitches[:at]) <= self.onsets[0].keys() and len(self.onsets) > 1
        is_whole = self.is_exact and self.find_last_onset(pitches, 0, at) == len(self.onsets) - 1
        return at if is_tried and is_whole else None

    def may_have_gone_back(self, played: Sequence[PlayedNote]) -> bool:
        """Whether the last stroke may be one of the window's onsets before the last, and is not
        it."""
        stroke = {played[-1].pitch}
        for before, after in pairwise(reversed(played)):
            if before.onset_s - after.onset_s >= ONE_STROKE_S:
                break
            stroke.add(after.pitch)
        return stroke != self.onsets[-1].keys() and stroke in self._strokes_before_last

    @cached_property
    def _strokes_before_last(self) -> set[frozenset[int]]:
        return {frozenset(onset) for onset in self.onsets[:-1]}

    def find_begun_after(
        self, played: Sequence[PlayedNote], since: int, onsets: int, quiet_s: float
    ) -> int | None:
        """The key, from ``since`` on and after a silence, from which all are exactly the window's
        first, at the least so many onsets of it; None where there is none."""
        pitches = [note.pitch for note in played]
        for at in range(max(since, 1), len(pitches)):
            if played[at].onset_s - played[at - 1].onset_s >= quiet_s:
                last = self.find_last_onset(pitches, 0, at)
                if last is not None and last + 1 >= onsets:
                    return at
        return None

    def is_beginning(self, played: Sequence[PlayedNote]) -> bool:
        """Whether the keys are exactly the window's first."""
        pitches = [note.pitch for note in played]
        return self.is_exact and self.find_last_onset(pitches, 0) is not None

    def begins_in(self, played: Sequence[PlayedNote]) -> bool:
        """Whether the last keys, from one of them on, are exactly the window's first."""
        return self.is_beginning(played) or self.find_start(played, 0) > 0

    def find_last_attempt(self, played: Sequence[PlayedNote]) -> int | None:
        """The key with which the window was begun for the last time and not ended.

        Only where all keys are exactly its first ones, again and again, and the last ones plainly.
        """
        pitches = [note.pitch for note in played]
        begun = self.find_start(played, 0)
        reached = self.find_last_onset(pitches[begun:], 0) if begun else None
        if self.find_whole(played) == 0:
            return None
        if reached is None or not LEAST_ONSETS <= reached + 1 < len(self.onsets):
            return None
        before = played[:begun]
        while self.find_last_onset([note.pitch for note in before], 0) is None:
            at = self.find_start(before, 0)
            if not at:
                return None
            before = before[:at]
        return begun

    def count_earlier_keys(
        self, earlier: Sequence[PlayedNote], played: Sequence[PlayedNote]
    ) -> int:
        """How many of the keys before them make a longer part of the window of those played."""
        room = min(len(earlier), self.count - len(played), MOST_BEFORE)
        longer = (
            count
            for count in range(room, 0, -1)
            if self.find_run([*earlier[-count:], *played], None) is not None
        )
        return next(longer, 0)

    def find_run(self, played: Sequence[PlayedNote], stop: Fraction | None) -> OnsetRun | None:
        """Which onsets were played, where the keys are exactly a part of the window.

        ``stop`` is the onset before which the player stopped last. Where figures recur a part may
        lie in several places: then it goes on from there, or from the beginning, or to the end.
        """
        pitches = [note.pitch for note in played]
        if not self.is_exact or not 0 < len(pitches) < self.count:
            return None
        found = list(self._list_runs(pitches, stop))
        return min(found, key=lambda part: self._rank(part, stop), default=None)

    def _list_runs(self, pitches: Sequence[int], stop: Fraction | None) -> Iterator[OnsetRun]:
        for first in range(len(self.onsets)):
            if pitches[0] in self.onsets[first]:
                last = self.find_last_onset(pitches, first)
                if self.ends_freely and last == len(self.onsets) - 1:
                    continue
                goes_on = first == 0 or self.excerpt.onsets_quarters[first] == stop
                if last is not None and (goes_on or last - first + 1 >= LEAST_ONSETS):
                    yield OnsetRun(first, last)

    def _rank(self, part: OnsetRun, stop: Fraction | None) -> tuple[bool, bool, bool, int]:
        goes_on = stop is not None and self.excerpt.onsets_quarters[part.first] == stop
        return not goes_on, part.first > 0, part.last < len(self.onsets) - 1, part.first

    def make_matching(self, part: OnsetRun, played: Sequence[PlayedNote]) -> Matching:
        """The keys as the notes of a part."""
        notes = self.excerpt.notes
        key_of: dict[int, int] = {}
        number, due = part.first, dict(self.onsets[part.first])
        for key, one in enumerate(played):
            if not due:
                number += 1
                due = dict(self.onsets[number])
            key_of[due.pop(one.pitch)] = key
        note_of = {key: note for note, key in key_of.items()}
        same_key = self.excerpt.same_key
        key_of |= {note: key_of[other] for note, other in same_key.items() if other in key_of}
        return Matching(
            score=tuple(
                ScoreLabel(note, Label.MATCHED, key_of[note])
                if note in key_of
                else ScoreLabel(note, Label.MISSED)
                for note in range(len(notes))
            ),
            played=tuple(
                PlayedLabel(key, Label.MATCHED, note_of[key], notes[note_of[key]].hand)
                for key in range(len(played))
            ),
        )


def match_exactly(
    excerpt: Excerpt, played: Sequence[PlayedNote], stop: Fraction | None
) -> Matching | None:
    """The matching where the keys are note for note the window, or a part of it; None: they are
    not."""
    written = ExactMatcher(excerpt)
    if len(played) > written.count:
        return None
    is_whole = len(played) == written.count and written.find_whole(played) == 0
    whole = OnsetRun(0, len(written.onsets) - 1) if is_whole else None
    part = whole or written.find_run(played, stop)
    return None if part is None else written.make_matching(part, played)
