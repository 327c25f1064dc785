"""How long keys were held: let go early, gaps under a slur, staccato held on, and loudness.

Conventions
-----------
A hold is the time that a key was down as a share of the written length at the tempo found.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import log
from statistics import fmean, median

from coach.judging.facts import Label, Matching
from coach.judging.timing import Timing
from coach.judging.tolerance import Tolerance
from coach.playing.notes import PlayedNote
from coach.score.model import Hand, Mark
from coach.score.window import Excerpt

_LIKE = 4.1
"""Notes are alike in length within this factor: an eighth tells of halves and of thirty-seconds."""
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
_SHORT = frozenset({Mark.STACCATO, Mark.STACCATISSIMO})
_SLUR = frozenset({Mark.UNDER_SLUR, Mark.SLUR_START})


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


@dataclass(frozen=True, slots=True)
class Shape:
    """What of articulation and balance is not as written."""

    let_go: tuple[Hold, ...] = ()
    """Released far earlier than the same hand's other notes."""
    gaps: tuple[Hold, ...] = ()
    """Not joined to the next note under a slur."""
    held_on: tuple[Hold, ...] = ()
    """Staccato notes that were not short."""
    left_louder_by: float = 0.0
    """Mean MIDI velocity of the left hand over the right's; 0 where one hand plays."""


def holds(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching, timing: Timing
) -> tuple[Hold, ...]:
    """How long each right key was held."""
    quarter_s = 60 / (timing.qpm or excerpt.qpm)
    out = []
    for label in matching.score:
        note = excerpt.notes[label.note]
        if label.label is not Label.MATCHED or label.played is None or not note.length_quarters:
            continue
        held = played[label.played].length_s
        if held is not None and not note.is_free:
            written = float(note.length_quarters) * quarter_s
            out.append(Hold(label.note, note.hand, written, held))
    return tuple(out)


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
            if excerpt.notes[hold.note].marks & _SHORT:
                continue
            like = [
                other.share
                for at, other in own.items()
                if at != place and 1 / _LIKE < other.written_s / hold.written_s < _LIKE
            ]
            if _is_unlike(hold.share, like, tolerance):
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


def _is_unlike(share: float, like: Sequence[float], tolerance: Tolerance) -> bool:
    """Whether a hold is far shorter than the hand's like ones, by how alike these are."""
    if len(like) < _LEAST_LIKE:
        return False
    logs = [log(max(other, 0.01)) for other in like]
    middle = median(logs)
    spread = median(abs(x - middle) for x in logs) / 0.6745
    spread = max(spread, _STEADY * (1 + 2 / len(like)))
    below = middle - log(max(share, 0.01))
    limit = max(_UNLIKE * spread, -log(tolerance.release_share))
    return middle > log(_FIRM) and below > limit


def shape(
    excerpt: Excerpt,
    played: Sequence[PlayedNote],
    matching: Matching,
    timing: Timing,
    tolerance: Tolerance,
) -> Shape:
    """Articulation and balance against what is written."""
    found = holds(excerpt, played, matching, timing)
    return Shape(
        let_go_early(excerpt, found, tolerance),
        tuple(_gaps(excerpt, played, matching, found, tolerance)),
        tuple(_held_on(excerpt, found, tolerance)),
        _left_louder(excerpt, played, matching),
    )


def _gaps(
    excerpt: Excerpt,
    played: Sequence[PlayedNote],
    matching: Matching,
    found: Sequence[Hold],
    tolerance: Tolerance,
) -> Iterator[Hold]:
    onsets = _hand_onsets(excerpt, played, matching)
    for hold in found:
        note = excerpt.notes[hold.note]
        if not note.marks & _SLUR or note.marks & _SHORT:
            continue
        following = onsets.get((note.hand, note.end_quarters))
        struck = onsets.get((note.hand, note.onset_quarters))
        if following is None or struck is None:
            continue
        silence_s = following - struck - hold.held_s
        if silence_s > max(tolerance.late_floor_ms / 1000, tolerance.gap_share * hold.written_s):
            yield hold


def _held_on(excerpt: Excerpt, found: Sequence[Hold], tolerance: Tolerance) -> Iterator[Hold]:
    for hold in found:
        marks = excerpt.notes[hold.note].marks
        if marks & _SHORT and not marks & _SLUR and hold.share > tolerance.staccato_share:
            yield hold


def _hand_onsets(
    excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching
) -> dict[tuple[Hand, object], float]:
    out: dict[tuple[Hand, object], float] = {}
    for label in matching.score:
        if label.played is not None and label.label is not Label.MISSED:
            note = excerpt.notes[label.note]
            key = (note.hand, note.onset_quarters)
            at = played[label.played].onset_s
            out[key] = min(at, out.get(key, at))
    return out


def _left_louder(excerpt: Excerpt, played: Sequence[PlayedNote], matching: Matching) -> float:
    loud: dict[Hand, list[int]] = {Hand.RIGHT: [], Hand.LEFT: []}
    for label in matching.score:
        if label.played is not None and label.label is Label.MATCHED:
            loud[excerpt.notes[label.note].hand].append(played[label.played].velocity)
    if not all(loud.values()):
        return 0.0
    return fmean(loud[Hand.LEFT]) - fmean(loud[Hand.RIGHT])
