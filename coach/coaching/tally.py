"""What was heard of one beat's arrival, as sums that fade, and as plain data."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from coach.coaching.observing import FAILED
from coach.judging.facts import Outcome
from coach.score.model import Hand, Hands
from coach.score.window import Transition

MENDED_KEEPS = 0.4
"""What earlier failures still count after a full clean run over them."""
KEPT_MOVES = 8
"""How many single moves of each hand are kept in full, to be told as evidence."""


@dataclass(slots=True)
class Counts:
    """Weighted attempts and failures of one kind."""

    attempts: float = 0.0
    failed: float = 0.0
    late: float = 0.0
    """What the attempts would have shown of a fault that is lateness: each times the chance that
    a hesitation would have been heard in it."""

    def fade(self, keep: float) -> None:
        """Let it count for less."""
        self.attempts *= keep
        self.failed *= keep
        self.late *= keep

    def telling(self, late_share: float) -> float:
        """Attempts that count for a fault of which this share of the failures was lateness."""
        return self.attempts - late_share * (self.attempts - self.late)


@dataclass(slots=True)
class Move:
    """One single move of a hand, kept to be told."""

    failed: bool
    outcome: Outcome
    onset_quarters: Fraction
    error_ms: float | None
    together: bool
    ease: float
    """Tempo played as a share of the tempo asked for; 1 where unknown."""


@dataclass(slots=True)
class BeatTally:
    """What was heard of one beat's arrival, by hand and by who played."""

    together: float = 0.0
    """Attempts while both hands play, whether or not both have a note here."""
    right_failed: float = 0.0
    """Of these: only the right hand failed."""
    left_failed: float = 0.0
    both_failed: float = 0.0
    late: float = 0.0
    """Failures, of whichever hands, that were nothing but lateness."""
    alone: dict[Hand, Counts] = field(default_factory=lambda: {hand: Counts() for hand in Hand})
    """One hand asked for alone."""
    moves: dict[Hand, deque[Move]] = field(
        default_factory=lambda: {hand: deque(maxlen=KEPT_MOVES) for hand in Hand}
    )
    at_s: float = 0.0
    """When it was last added to."""

    def fade(self, keep: float) -> None:
        """Let everything count for less."""
        self.together *= keep
        self.right_failed *= keep
        self.left_failed *= keep
        self.both_failed *= keep
        self.late *= keep
        for counts in self.alone.values():
            counts.fade(keep)

    def mend(self, hand: Hand) -> None:
        """Let a hand's failures count for less, and as clean: it has held since."""
        counts = self.alone[hand]
        counts.failed *= MENDED_KEEPS
        self.both_failed *= MENDED_KEEPS
        self.late *= MENDED_KEEPS
        if hand is Hand.RIGHT:
            self.right_failed *= MENDED_KEEPS
        else:
            self.left_failed *= MENDED_KEEPS

    def failed_together(self, hand: Hand) -> float:
        """Weight of failures of this hand while both played."""
        own = self.right_failed if hand is Hand.RIGHT else self.left_failed
        return own + self.both_failed

    @property
    def failed(self) -> float:
        """Weight of the repetitions in which anything failed here, in any hand."""
        together = self.right_failed + self.left_failed + self.both_failed
        return together + sum(counts.failed for counts in self.alone.values())

    @property
    def late_share(self) -> float:
        """How much of the failing was lateness, 0 to 1."""
        failed = self.failed
        return min(self.late / failed, 1.0) if failed else 0.0

    def failures(self, hands: Hands) -> float:
        """Weight of these hands' failures; one that both shared counts for each."""
        return sum(self.totals(hand)[0] for hand in hands.members)

    def kept_moves(self, hands: Hands) -> list[Move]:
        """What is kept of the hand, of these, that failed most; the oldest first."""
        kept = (list(self.moves[hand]) for hand in Hand if hand in hands)
        return max(kept, key=lambda moves: sum(move.failed for move in moves))

    def totals(self, hand: Hand) -> tuple[float, float]:
        """Failures and attempts of this hand, however many hands played."""
        alone = self.alone[hand]
        return self.failed_together(hand) + alone.failed, self.together + alone.attempts


def hand_of(move: Transition) -> Hand:
    """The hand that makes a single hand's move."""
    return Hand(move.hands.value)


def plain_row(beat: Fraction, tally: BeatTally) -> list[Any]:
    """A beat's tally, JSON-ready; :func:`tally_from` reads it back."""
    alone = [[one.attempts, one.failed, one.late] for one in map(tally.alone.get, Hand) if one]
    moves = [[_plain_move(move) for move in tally.moves[h]] for h in Hand]
    sums = [tally.together, tally.right_failed, tally.left_failed, tally.both_failed, tally.late]
    return [str(beat), tally.at_s, sums, alone, moves]


def _plain_move(move: Move) -> list[Any]:
    onset = str(move.onset_quarters)
    return [move.outcome.value, onset, move.error_ms, move.together, move.ease]


def tally_from(row: Sequence[Any]) -> tuple[Fraction, BeatTally]:
    """A beat and its tally from a row of :func:`plain_row`."""
    beat, at_s, sums, alone, moves = row
    together, right, left, both, late = map(float, sums)
    tally = BeatTally(together, right, left, both, late, at_s=float(at_s))
    for hand, counts, kept in zip(Hand, alone, moves, strict=True):
        tally.alone[hand] = Counts(*counts)
        tally.moves[hand].extend(map(_move_from, kept))
    return Fraction(beat), tally


def _move_from(row: Sequence[Any]) -> Move:
    outcome, onset, error_ms, together, ease = row
    kind = Outcome(outcome)
    return Move(kind in FAILED, kind, Fraction(onset), error_ms, together, ease)
