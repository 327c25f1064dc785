"""What was heard of one beat's arrival, as sums that fade, and as plain data.

What was heard so far of every beat-to-beat move, as sums that fade.

Conventions
-----------
- A beat's tally is addressed by the beat that is arrived at (``Transition.to_quarters``).
- Counts are weights: a repetition counts 1 when it is new and fades with every later one of the
  same beat and with every day; a clean move at an easier tempo counts for less than one at the
  tempo asked for, a failed one counts in full at any tempo.
- Sums fade by multiplication, so that they can be kept instead of the single observations
  (:meth:`Evidence.plain`): opening a long record costs nothing that grows with it.

Evidence kept as its sums from one day to the next: opening costs nothing that grows with it.

The sums hold all that was ever heard under a goal, faded, and what was mended since; of the
record's history only what came after them is folded in. They are of one tempo, since a clean move
counts by its ease: for another tempo the history is folded afresh.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import groupby, takewhile
from operator import attrgetter
from typing import Any

from coach.coaching.model import Observation
from coach.coaching.observations import FAILED
from coach.judging.model import Outcome
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


FADE_PER_ATTEMPT = 0.97
"""What an attempt keeps of its weight with each later one of the same beat (half after 23)."""
FADE_PER_DAY = 0.7
"""What is left of a weight a day later: skill drifts and is forgotten overnight."""
AFTER_A_FAILURE = 0.5
"""What a failure counts in a hand that has just failed on the beat before."""
OLDEST_DAYS = 21.0
"""Observations older than this weigh under a thousandth and are passed over."""
MOST_OBSERVATIONS = 6000
"""How many of the newest observations are read from a history; keep sums for longer ones."""
_DAY_S = 86400.0


class Evidence:
    """All beats' tallies."""

    def __init__(self) -> None:
        self.beats: dict[Fraction, BeatTally] = {}

    def tally(self, to_quarters: Fraction) -> BeatTally:
        """The tally of a beat; an empty one where nothing was heard."""
        return self.beats.get(to_quarters) or BeatTally()

    def add(self, heard: Sequence[Observation], goal_qpm: float | None) -> None:
        """Take in the observations of one repetition, in the order of the excerpt."""
        failed_before: dict[Hands, bool] = {}
        beats: dict[Fraction, list[Observation]] = {}
        for one in heard:
            beats.setdefault(one.transition.to_quarters, []).append(one)
        for to_quarters, ones in beats.items():
            reached = [one for one in ones if one.outcome is not Outcome.NOT_REACHED]
            if reached:
                tally = self.beats.setdefault(to_quarters, BeatTally())
                _add_beat(tally, reached, goal_qpm, failed_before)

    def mended(self, to_quarters: Fraction, hands: Hands) -> None:
        """A full clean run went over this move: what failed before counts for less."""
        tally = self.tally(to_quarters)
        for hand in hands.members:
            tally.mend(hand)

    def plain(self) -> list[list[Any]]:
        """The sums as JSON-ready rows; :meth:`from_plain` reads them back."""
        return [plain_row(beat, tally) for beat, tally in self.beats.items()]

    @classmethod
    def from_plain(cls, rows: Iterable[Sequence[Any]]) -> Evidence:
        """Evidence from the rows of :meth:`plain`."""
        out = cls()
        for row in rows:
            beat, tally = tally_from(row)
            out.beats[beat] = tally
        return out


def _add_beat(
    tally: BeatTally,
    ones: list[Observation],
    goal_qpm: float | None,
    failed_before: dict[Hands, bool],
) -> None:
    ease = _ease(ones[0].qpm, goal_qpm)
    _age(tally, ones[0].at_s)
    weight = 1.0 if any(map(_failed, ones)) else clean_weight(ease)
    if any(_failed(one) and failed_before.get(one.transition.hands) for one in ones):
        # A hand that has just failed is still finding its way back.
        weight = AFTER_A_FAILURE
    failed_before.update({one.transition.hands: _failed(one) for one in ones})
    together = ones[0].hands_played is Hands.TOGETHER
    _count(tally, ones, together, weight)
    for one in ones:
        move = Move(_failed(one), one.outcome, one.onset_quarters, one.error_ms, together, ease)
        tally.moves[hand_of(one.transition)].append(move)


def _failed(one: Observation) -> bool:
    return one.outcome in FAILED


def _ease(qpm: float | None, goal_qpm: float | None) -> float:
    return qpm / goal_qpm if qpm and goal_qpm else 1.0


def clean_weight(ease: float) -> float:
    """What a clean move at a share of the tempo asked for says about that tempo.

    Nothing at a third of it, all of it from 0.95 on, in a straight line between: errors and
    variability grow with tempo (Pfordresher, Palmer and Jungers 2007; Dalla Bella and Palmer
    2011); the line itself is a design choice.
    """
    return min(max((ease - 1 / 3) / (0.95 - 1 / 3), 0.05), 1.0)


def _age(tally: BeatTally, at_s: float) -> None:
    keep = FADE_PER_ATTEMPT
    if tally.at_s and at_s > tally.at_s:
        keep *= FADE_PER_DAY ** ((at_s - tally.at_s) / _DAY_S)
    tally.fade(keep)
    tally.at_s = max(at_s, tally.at_s)


def _count(tally: BeatTally, ones: Sequence[Observation], together: bool, weight: float) -> None:
    failed = {one.transition.hands: one.outcome for one in ones if _failed(one)}
    if failed and set(failed.values()) == {Outcome.LATE}:
        tally.late += weight
    if not together:
        for one in ones:
            counts = tally.alone[hand_of(one.transition)]
            counts.attempts += weight
            counts.failed += weight * _failed(one)
            counts.late += weight * (1.0 if _failed(one) else one.hears_late)
        return
    tally.together += weight
    if len(failed) == 2:
        tally.both_failed += weight
    elif Hands.RIGHT in failed:
        tally.right_failed += weight
    elif Hands.LEFT in failed:
        tally.left_failed += weight


def fold(
    history: Iterable[Observation],
    goal_qpm: float | None,
    now_s: float,
    before: Evidence | None = None,
) -> Evidence:
    """The evidence of a record's observations, oldest first, as it stands at ``now_s``.

    Only the newest :data:`MOST_OBSERVATIONS` of the last :data:`OLDEST_DAYS` days are read, as
    older ones have faded; more is carried by ``before``, sums kept from earlier days
    (:mod:`coach.coaching.diagnosis.evidence`), which is added to.
    """
    rows = history if isinstance(history, list | tuple) else list(history)
    oldest_s = now_s - OLDEST_DAYS * _DAY_S
    out = Evidence() if before is None else before
    recent = [one for one in rows[-MOST_OBSERVATIONS:] if one.at_s >= oldest_s]
    for _, repetition in groupby(recent, key=attrgetter("at_s")):
        out.add(list(repetition), goal_qpm)
    return out


SAVED_WITHIN_S = 2.0
"""The record stamps a repetition a moment after it was judged: what is newer than the sums by less
than this is in them already. No repetition follows another so soon."""


def kept(evidence: Evidence, goal_qpm: float | None) -> dict[str, Any]:
    """The sums, JSON-ready, for :func:`carried_on`."""
    until_s = max((tally.at_s for tally in evidence.beats.values()), default=0.0)
    return {"qpm": goal_qpm, "until_s": until_s, "sums": evidence.plain()}


def carried_on(
    plain: Mapping[str, Any] | None,
    history: Iterable[Observation],
    goal_qpm: float | None,
    now_s: float,
) -> Evidence:
    """Evidence from kept sums (None: there are none) and the history, oldest first, after them.

    Raises KeyError, TypeError or ValueError where the sums are damaged.
    """
    rows = history if isinstance(history, list | tuple) else list(history)
    if plain is None or plain["qpm"] != goal_qpm:
        return fold(rows, goal_qpm, now_s)
    newer = _after(rows, float(plain["until_s"]) + SAVED_WITHIN_S)
    return fold(newer, goal_qpm, now_s, Evidence.from_plain(plain["sums"]))


def _after(rows: Sequence[Observation], at_s: float) -> list[Observation]:
    return list(takewhile(lambda one: one.at_s > at_s, reversed(rows)))[::-1]
