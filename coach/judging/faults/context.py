"""What the detectors look at: the window, what was played of it, and what was measured."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from coach.judging.faults.catalogue import CATALOGUE, weigh
from coach.judging.model import Cause, Fault, Matching, ScoreLabel
from coach.judging.timing import Timing
from coach.judging.tolerance import Tolerance
from coach.judging.touch import Shape
from coach.playing.notes import PedalMove, PlayedNote
from coach.score.model import Hand, Hands, ScoreNote
from coach.score.window import Excerpt


@dataclass(frozen=True, slots=True)
class FaultContext:
    """One repetition as it is known once it was aligned and measured."""

    excerpt: Excerpt
    played: Sequence[PlayedNote]
    matching: Matching
    timing: Timing
    shape: Shape
    tolerance: Tolerance
    pedals: Sequence[PedalMove] | None = None
    """The pedals' moves; None where they are not known."""

    def note_of(self, label: ScoreLabel) -> ScoreNote:
        """The score note of a label."""
        return self.excerpt.notes[label.note]


# Where a fault lies: its transition, its hand, and the onset that a stray key belongs to.
#
# A fault belongs to the transition in which its onset is arrived at: a wrong key on beat 3 is a
# fault of the move from beat 2 to beat 3, since that move is what has to be practised.


TOGETHER_S = 0.06
"""A key brushed within this of a note went down with it: beyond 60 ms the order of two tones is
near-certain (informal listening tests; Hirsh 1959 has 20 ms at threshold, from memory)."""
_ELSEWHERE = 2
"""Semitones that a note just before or after counts as further away than one at the moment: own
choice, so that a brushed neighbour key (1 or 2 semitones) goes to the note it sounded with."""


@dataclass(frozen=True, slots=True)
class FaultSpan:
    """From which onset to which a fault reaches, and whose it is."""

    first_quarters: Fraction
    last_quarters: Fraction
    hands: Hands

    @staticmethod
    def at(onset_quarters: Fraction, hands: Hands | Hand) -> FaultSpan:
        """A fault of one onset."""
        return FaultSpan(onset_quarters, onset_quarters, Hands(hands))


def make_fault(
    excerpt: Excerpt,
    cause: Cause,
    span: FaultSpan,
    words: str,
    *,
    weight: float | None = None,
    note: int | None = None,
    size_ms: float | None = None,
    short_words: tuple[str, ...] = (),
) -> Fault:
    """A fault from the transition into its first onset to the transition into its last.

    ``weight`` None is the catalogue's own.
    """
    low, _ = beats_into(excerpt, span.first_quarters)
    _, high = beats_into(excerpt, span.last_quarters)
    return Fault(
        transition=excerpt.transition_to(span.first_quarters, span.hands),
        onset_quarters=span.first_quarters,
        first_quarters=span.first_quarters,
        last_quarters=span.last_quarters,
        cause=cause,
        family=CATALOGUE[cause].family,
        weight=weigh(cause) if weight is None else weight,
        words=words,
        short_words=short_words,
        note=note,
        size_ms=size_ms,
        from_beat=low,
        to_beat=high,
    )


def beats_into(excerpt: Excerpt, onset_quarters: Fraction) -> tuple[int, int]:
    """The grid beats (k-1, k] of the transition into an onset."""
    k = bisect_left(excerpt.grid_quarters, onset_quarters)
    return k - 1, k


def nearest_moment(timing: Timing, hand: Hand | None, at_s: float) -> int | None:
    """The moment that a stray key belongs to: the one it sounded with, else the next one.

    None where nothing was struck. A hand's own moments are preferred.
    """
    own = timing.times[hand] or timing.times[None]
    if not own:
        return None
    after = bisect_left(own, (at_s, 0))
    near = own[max(0, after - 1) : after + 1]
    closest = min(near, key=lambda pair: abs(pair[0] - at_s))
    if abs(closest[0] - at_s) <= TOGETHER_S or after >= len(own):
        return closest[1]
    return own[after][1]


def likely_hand(excerpt: Excerpt, timing: Timing, pitch: int, at_s: float) -> Hand | None:
    """Whose stray key it was, by the nearest written notes around it; None where nothing is."""
    moment = nearest_moment(timing, None, at_s)
    if moment is None:
        return None
    reach = range(max(0, moment - 1), min(len(timing.row), moment + 2))
    near = [
        (abs(excerpt.notes[note].pitch - pitch) + _ELSEWHERE * (i != moment), hand.hand)
        for i in reach
        for hand in timing.row[i].hands
        for note in hand.notes
    ]
    return min(near, key=lambda pair: pair[0])[1]


def hands_of(members: Sequence[Hand]) -> Hands:
    """One hand, or both."""
    return Hands(members[0]) if len(set(members)) == 1 else Hands.TOGETHER
