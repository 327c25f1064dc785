"""How long each key was held, and for how long its onset had to be.

A key has to sound until its hand strikes again, or until its written length is over where that
comes first: a long note below a moving voice is let go in many styles once its finger is wanted.
Where a player is seen to hold such notes for as long as they are written, that is what is asked.

Conventions
-----------
A hold is seconds from key down to key up. Its share is compared in logarithms, since half and
double are alike, and never above the whole: to overlap is no opposite of letting go early.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from functools import cached_property
from math import log

from coach.score.model import Hand, Mark
from coach.score.window import Excerpt

SHORT = frozenset({Mark.STACCATO, Mark.STACCATISSIMO})
"""Marks of notes that are meant to be short."""
_STRETCH = (0.5, 1.25)
"""How far the time to the next onset stretches a written length: expressive tempo does, within a
quarter; a stop does not, after which a key of usual length would look short."""
_LEAST_S = 0.03
"""A hold that was asked for is never less: onsets of a rolled chord can coincide."""
_LEAST_SHARE = 0.01


@dataclass(frozen=True, slots=True)
class Hold:
    """One note and how it was held."""

    note: int
    hand: Hand
    written_s: float
    held_s: float
    struck_s: float = 0.0
    surprise: float = 0.0
    """Of what was let go early: how far below what was foretold, in standard deviations."""

    @property
    def share(self) -> float:
        """Held against written."""
        return self.held_s / self.written_s


class Onward(Enum):
    """What comes after a key in its hand: it says how long pianists hold the key."""

    OTHER = 1
    """Another key: it can be held until then."""
    SAME = 2
    """The same key: it has to come up before it can be struck."""
    NOTHING = 3
    """Nothing in this window: it leads nowhere."""


@dataclass(frozen=True, slots=True)
class Kept:
    """One hand's onset: the note of it that was kept for the largest share."""

    hold: Hold
    asked_s: float
    """How long it had to be held."""
    onward: Onward
    log_share: float
    """Natural logarithm of the share of that for which it was held, at most 0."""
    telling: bool = True
    """False where it says nothing, since it was meant to be short."""


class HandHolds:
    """One hand's holds, by onset."""

    def __init__(self, excerpt: Excerpt, own: Sequence[Hold]) -> None:
        rows: dict[int, list[Hold]] = {}
        for hold in own:
            rows.setdefault(excerpt.onset_numbers[hold.note], []).append(hold)
        self._excerpt = excerpt
        numbers = sorted(rows)
        self._onsets = [rows[number] for number in numbers]
        self._xs = [excerpt.onsets[number] for number in numbers]

    def may_be_brief(self, share: float) -> bool:
        """Whether any onset may have been held for less than this share of what was asked.

        True too often, but soon known: in most windows there is no such onset.
        """
        return any(
            min(hold.share for hold in onset) < share * _STRETCH[1] for onset in self._onsets
        )

    def is_brief_as_written(self, share: float) -> bool:
        """Whether any onset was held for less than this share of its written length."""
        return any(max(hold.share for hold in onset) < share for onset in self._onsets)

    @cached_property
    def until_next(self) -> list[Kept]:
        """The onsets in order, each by the note of it that was kept the longest.

        An inner voice that is short alone is no lapse, so the others stand for it.
        """
        last = len(self._onsets) - 1
        return [
            self._kept(*self._until(i)) if i < last else self._kept(Onward.NOTHING, _written(onset))
            for i, onset in enumerate(self._onsets)
        ]

    @cached_property
    def as_written(self) -> list[Kept]:
        """The same where each was asked to be held for its written length."""
        return [
            self._kept(before.onward, _written(onset))
            for before, onset in zip(self.until_next, self._onsets, strict=True)
        ]

    def _kept(self, onward: Onward, asked: Sequence[tuple[Hold, float]]) -> Kept:
        hold, asked_s = max(asked, key=lambda one: one[0].held_s / one[1])
        share = min(max(hold.held_s / asked_s, _LEAST_SHARE), 1.0)
        short = bool(self._excerpt.notes[hold.note].marks & SHORT)
        return Kept(hold, asked_s, onward, log(share), telling=not short)

    def _until(self, i: int) -> tuple[Onward, list[tuple[Hold, float]]]:
        """What was asked of the keys of an onset that another follows.

        Of those that are struck again nothing is said where the others can tell.
        """
        onset, after, apart = self._onsets[i], self._onsets[i + 1], self._xs[i + 1] - self._xs[i]
        notes = self._excerpt.notes
        again = [notes[hold.note].pitch for hold in after]
        free = [hold for hold in onset if notes[hold.note].pitch not in again]
        until_s = min([hold.struck_s for hold in after]) - max([hold.struck_s for hold in onset])
        out = []
        for hold in free or onset:
            at_tempo_s = apart * hold.written_s / float(notes[hold.note].length_quarters)
            stretch = min(max(until_s / at_tempo_s, _STRETCH[0]), _STRETCH[1])
            out.append((hold, max(min(until_s, stretch * hold.written_s), _LEAST_S)))
        return Onward.OTHER if free else Onward.SAME, out


def _written(onset: Sequence[Hold]) -> list[tuple[Hold, float]]:
    return [(hold, hold.written_s) for hold in onset]
