"""Keys let go far too early, by how the same hand holds its other notes.

Conventions
-----------
A hold is the time that a key was down as a share of the written length at the tempo found.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log
from statistics import median

from coach.judging.tolerance import Tolerance
from coach.score.model import Hand, Mark
from coach.score.window import Excerpt

_LIKE = (2.2, 4.1)
"""Notes are alike in length within the first factor (an eighth tells of quarters and sixteenths),
or, where these are too few, within the second."""
_LEAST_LIKE = 3
_LEAST_S = 0.12
"""Shorter notes say too little: a pianist's own releases vary by 50 ms and more."""
_BRIEF_S = 0.2
_FIRM = 0.4
"""The middle of its like is held for more than this share: the hand does not play detached."""
_UNLIKE = 4.5
"""How far below that middle, in robust standard deviations of the logarithm: the z limit of 3.5
(Iglewicz & Hoaglin 1993) and a margin, since a repetition has few notes to tell a spread by."""
_STEADY = 0.2
"""No hand's holds are taken to be more alike (in log share), and less so the fewer are known."""
SHORT = frozenset({Mark.STACCATO, Mark.STACCATISSIMO})
"""Marks of notes that are meant to be short."""


@dataclass(frozen=True, slots=True)
class Hold:
    """One note and how it was held."""

    note: int
    hand: Hand
    written_s: float
    held_s: float

    @property
    def share(self) -> float:
        """Held against written."""
        return self.held_s / self.written_s


def let_go_early(excerpt: Excerpt, found: Sequence[Hold], tolerance: Tolerance) -> tuple[Hold, ...]:
    """Onsets at which a hand let go of everything far earlier than of its other notes.

    Of each the note that was held the longest: an inner voice that is short alone is no lapse.
    Nothing is said of a hand that plays detached, and little of one that mixes long and short.
    """
    out = []
    for hand in Hand:
        own = _longest(excerpt, [hold for hold in found if hold.hand is hand])
        for place, hold in own.items():
            if hold.written_s < _LEAST_S or hold.held_s > _BRIEF_S:
                continue
            if excerpt.notes[hold.note].marks & SHORT:
                continue
            others = [other for at, other in own.items() if at != place]
            if _is_unlike(hold.share, _like_shares(hold, others), tolerance):
                out.append(hold)
    return tuple(out)


def _longest(excerpt: Excerpt, own: Sequence[Hold]) -> dict[int, Hold]:
    """By onset number, the note that a hand held for the largest share of its length."""
    out: dict[int, Hold] = {}
    for hold in own:
        number = excerpt.onset_numbers[hold.note]
        if number not in out or hold.share > out[number].share:
            out[number] = hold
    return out


def _like_shares(hold: Hold, others: Sequence[Hold]) -> list[float]:
    """How the hand holds its notes of about this length."""
    like: list[float] = []
    for factor in _LIKE:
        least, most = hold.written_s / factor, hold.written_s * factor
        like = [other.share for other in others if least < other.written_s < most]
        if len(like) >= _LEAST_LIKE:
            break
    return like


def _is_unlike(share: float, like: Sequence[float], tolerance: Tolerance) -> bool:
    """Whether a hold is far shorter than the hand's like ones, by how alike these are."""
    if len(like) < _LEAST_LIKE:
        return False
    logs = [log(max(other, 0.01)) for other in like]
    middle = median(logs)
    spread = median(abs(x - middle) for x in logs) / 0.6745
    spread = max(spread, _STEADY * (1 + 1 / len(like)))
    below = middle - log(max(share, 0.01))
    limit = max(_UNLIKE * spread, -log(tolerance.release_share))
    return middle > log(_FIRM) and below > limit
