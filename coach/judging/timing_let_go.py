"""Keys let go far too early, by how this player holds the other notes.

What a hold should be is foretold from what is known: how pianists hold notes at all, how the other
hand holds its own, and how this hand holds those of like length. The fewer of these there are, the
less is foretold, and the less surprises.

Conventions
-----------
A hold is the time that a key was down as a share of the written length at the tempo found; it is
compared in logarithms, since half and double are alike.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from math import log, sqrt
from statistics import median

from coach.judging.tolerance import Tolerance
from coach.score.marks import Mark
from coach.score.model import Hand
from coach.score.window import Excerpt

_LIKE = (2.2, 4.1)
"""Notes are alike in length within the first factor (an eighth tells of quarters and sixteenths),
or, where these are too few, within the second, or else however long."""
_LEAST_LIKE = 3
_LEAST_S = 0.08
"""Shorter notes say nothing: a pianist's own releases vary by 50 ms and more."""
_BRIEF_S = 0.3
"""A key that was down for longer was not let go at once, however long its note."""
_USUAL, _USUAL_SPREAD = log(0.85), 0.4
"""Nothing else known, a hand holds its notes for 85 % of their length, and two hands in three for
57 to 127 % (our own choice: between portato and legato with overlap)."""
_OTHER_SPREAD = 0.2
"""How far the hands are apart in this, in log share, where the other one has many notes, and
where what is seen of this one does not part them further."""
_SPREAD, _SPREAD_S, _SPREAD_WEIGHT = 0.25, 0.03, 8
"""How much one hand's holds vary before any is seen: this share of them, and so many seconds of
release, which are much of a sixteenth and little of a half note; and for how many seen ones that
stands (our own choice)."""
_FIRM = log(0.4)
"""Of a hand from which no more than this is to be expected nothing is said: it plays detached."""
_LEAST_FIRM = 2
"""...nor where it holds fewer of its other notes (or not the only one) for longer than that, or
fewer than it let go: a bass of short notes is common, and no editor marks it."""
_UNLIKE, _UNLIKE_FEW = 4.5, 5.5
"""How far below what was foretold, in its standard deviations: the z limit of 3.5 (Iglewicz &
Hoaglin 1993) and a margin, since a window has many notes of which any may be short by chance;
one more where the hand has a single other note."""
_MOST = 3
"""Keys of one lapse; a longer row of short ones is a way of playing."""
SHORT = frozenset({Mark.STACCATO, Mark.STACCATISSIMO})
"""Marks of notes that are meant to be short."""


@dataclass(frozen=True, slots=True)
class Hold:
    """One note and how it was held."""

    note: int
    hand: Hand
    written_s: float
    held_s: float
    surprise: float = 0.0
    """Of what was let go early: how far below what was foretold, in standard deviations."""

    @property
    def share(self) -> float:
        """Held against written."""
        return self.held_s / self.written_s

    @property
    def log_share(self) -> float:
        """Its natural logarithm; nothing is held for less than a hundredth."""
        return log(max(self.share, 0.01))


def let_go_early(excerpt: Excerpt, found: Sequence[Hold], tolerance: Tolerance) -> tuple[Hold, ...]:
    """Onsets at which a hand let go of everything far earlier than is to be expected of it.

    Of each the note that was held the longest: an inner voice that is short alone is no lapse.
    Nothing is said of a hand that plays detached, and little of one that mixes long and short.
    """
    hands = {hand: _longest(excerpt, [h for h in found if h.hand is hand]) for hand in Hand}
    out: list[Hold] = []
    for hand, own in hands.items():
        brief = [_is_brief(excerpt, hold, tolerance) for hold in own]
        if any(brief):
            others = [
                hold.log_share for of, holds in hands.items() if of is not hand for hold in holds
            ]
            out += _lapses(own, brief, _manner(others))
    return tuple(out)


def _longest(excerpt: Excerpt, own: Sequence[Hold]) -> list[Hold]:
    """For each onset in order, the note that a hand held for the largest share of its length."""
    out: dict[int, Hold] = {}
    for hold in own:
        number = excerpt.onset_numbers[hold.note]
        if number not in out or hold.share > out[number].share:
            out[number] = hold
    return [out[number] for number in sorted(out)]


def _is_brief(excerpt: Excerpt, hold: Hold, tolerance: Tolerance) -> bool:
    short = hold.share < tolerance.release_share and hold.held_s < _BRIEF_S
    return short and hold.written_s > _LEAST_S and not excerpt.notes[hold.note].marks & SHORT


def _manner(others: Sequence[float]) -> tuple[float, float]:
    """What the other hand lets expect of this one: the log share, and how sure (1 / variance)."""
    usual = 1 / _USUAL_SPREAD**2
    if not others:
        return _USUAL, usual
    told = len(others) / (len(others) + 2) / _OTHER_SPREAD**2
    return (usual * _USUAL + told * median(others)) / (usual + told), usual + told


def _lapses(
    own: Sequence[Hold], brief: Sequence[bool], manner: tuple[float, float]
) -> Iterator[Hold]:
    """Runs of a few brief holds that surprise; beside more such ones none is a lapse."""
    for is_run, row in groupby(range(len(own)), key=brief.__getitem__):
        run = list(row)
        if is_run and len(run) <= _MOST:
            short = max(_parts(run), key=lambda part: _surprise(own, part, manner))
            few = len(own) - len(short) < _LEAST_FIRM
            surprise = _surprise(own, short, manner)
            if surprise > (_UNLIKE_FEW if few else _UNLIKE):
                yield from (replace(own[i], surprise=surprise) for i in short)


def _parts(run: Sequence[int]) -> Iterator[range]:
    """Every stretch of a run."""
    for first in run:
        for last in range(first, run[-1] + 1):
            yield range(first, last + 1)


def _surprise(own: Sequence[Hold], run: range, manner: tuple[float, float]) -> float:
    """How far below what the others foretell, in standard deviations of independent notes."""
    others = [*own[: run.start], *own[run.stop :]]
    held = sum(other.log_share > _FIRM for other in others)
    if held < max(min(_LEAST_FIRM, len(others)), len(run)):
        return 0.0
    return min(_below(own[i], others, manner) for i in run) * sqrt(len(run))


def _below(hold: Hold, others: Sequence[Hold], manner: tuple[float, float]) -> float:
    """One hold against its posterior predictive, from its hand's like notes and the manner."""
    like = _like(hold, others)
    middle = median(like) if like else 0.0
    spread = median(abs(x - middle) for x in like) / 0.6745 if like else 0.0
    before = _SPREAD**2 + (_SPREAD_S / hold.written_s) ** 2
    variance = (len(like) * spread**2 + _SPREAD_WEIGHT * before) / (len(like) + _SPREAD_WEIGHT)
    told = len(like) / variance
    usual, sure = _as_far_as_seen(manner, middle, told) if like else manner
    expected = (told * middle + sure * usual) / (told + sure)
    if expected < _FIRM:
        return 0.0
    return (expected - hold.log_share) / sqrt(variance + 1 / (told + sure))


def _as_far_as_seen(manner: tuple[float, float], middle: float, told: float) -> tuple[float, float]:
    """The manner, less sure where the hand's own like notes lie further from it than chance.

    A staccato bass says nothing of a melody that is seen to be held.
    """
    usual, sure = manner
    variance = 1 / sure
    further = max(0.0, (usual - middle) ** 2 - variance - 1 / told)
    return usual, 1 / (variance + further)


def _like(hold: Hold, others: Sequence[Hold]) -> list[float]:
    """How the hand holds its notes of about this length."""
    for factor in _LIKE:
        least, most = hold.written_s / factor, hold.written_s * factor
        like = [other.log_share for other in others if least < other.written_s < most]
        if len(like) >= _LEAST_LIKE:
            return like
    return [other.log_share for other in others]
