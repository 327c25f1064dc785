"""What was observed of each beat's arrival: exponentially discounted counts, which can be kept.

Each beat has counts of attempts and failures, by hand and by who played. They fade by
multiplication (exponential forgetting, as in discounted Bayesian filters: West and Harrison 1997),
because what was played lately says most of what will be played next.

Conventions
-----------
- Counts are addressed by the beat that is arrived at (``Transition.to_quarters``).
- Counts are weights: a repetition counts 1 when it is new, and fades with every later one of the
  same beat and with every day. A clean move at an easier tempo counts for less than one at the
  tempo asked for; a failed one counts in full at any tempo.

From one day to the next
------------------------
The counts are kept instead of the single observations (:meth:`Evidence.to_rows`), so opening a long
record costs nothing that grows with it. They hold all that was ever observed under a goal, faded,
and what was mended since; of the record's history only what came after them is folded in. They are
of one tempo, since a clean move counts by its ease: for another tempo the history is folded afresh.
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
"""What earlier failures still count, as a share, after a full clean run over them. Own choice,
because a full run says much and not all: less than half, and not nothing."""
RECENT_ATTEMPTS = 8
"""How many single attempts of each hand are kept in full, to be told as evidence. Own choice,
because "4 of the last 8" can still be remembered by whoever played them."""


@dataclass(slots=True)
class AttemptCounts:
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

    def informative_attempts(self, late_share: float) -> float:
        """Attempts that count for a fault of which this share of the failures was lateness."""
        return self.attempts - late_share * (self.attempts - self.late)


@dataclass(slots=True)
class MoveAttempt:
    """One attempt of a hand at a move, kept in full to be told."""

    failed: bool
    outcome: Outcome
    onset_quarters: Fraction
    error_ms: float | None
    together: bool
    ease: float
    """Tempo played as a share of the tempo asked for; 1 where unknown."""


@dataclass(slots=True)
class BeatCounts:
    """Counts of one beat's arrival, by hand and by who played."""

    together: float = 0.0
    """Attempts while both hands play, whether or not both have a note here."""
    right_failed: float = 0.0
    """Of these: only the right hand failed."""
    left_failed: float = 0.0
    both_failed: float = 0.0
    late: float = 0.0
    """Failures, of whichever hands, that were nothing but lateness."""
    alone: dict[Hand, AttemptCounts] = field(
        default_factory=lambda: {hand: AttemptCounts() for hand in Hand}
    )
    """One hand asked for alone."""
    moves: dict[Hand, deque[MoveAttempt]] = field(
        default_factory=lambda: {hand: deque(maxlen=RECENT_ATTEMPTS) for hand in Hand}
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

    def discount_failures(self, hand: Hand) -> None:
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

    def recent_attempts(self, hands: Hands) -> list[MoveAttempt]:
        """What is kept of the hand, of these, that failed most; the oldest first."""
        kept = (list(self.moves[hand]) for hand in Hand if hand in hands)
        return max(kept, key=lambda moves: sum(move.failed for move in moves))

    def totals(self, hand: Hand) -> tuple[float, float]:
        """Failures and attempts of this hand, however many hands played."""
        alone = self.alone[hand]
        return self.failed_together(hand) + alone.failed, self.together + alone.attempts


def single_hand_of(move: Transition) -> Hand:
    """The hand that makes a single hand's move."""
    return Hand(move.hands.value)


def counts_to_row(beat: Fraction, beat_counts: BeatCounts) -> list[Any]:
    """A beat's counts, JSON-ready; :func:`counts_from_row` reads it back."""
    alone = [
        [one.attempts, one.failed, one.late] for one in map(beat_counts.alone.get, Hand) if one
    ]
    moves = [[_attempt_to_row(move) for move in beat_counts.moves[h]] for h in Hand]
    sums = [
        beat_counts.together,
        beat_counts.right_failed,
        beat_counts.left_failed,
        beat_counts.both_failed,
        beat_counts.late,
    ]
    return [str(beat), beat_counts.at_s, sums, alone, moves]


def _attempt_to_row(move: MoveAttempt) -> list[Any]:
    onset = str(move.onset_quarters)
    return [move.outcome.value, onset, move.error_ms, move.together, move.ease]


def counts_from_row(row: Sequence[Any]) -> tuple[Fraction, BeatCounts]:
    """A beat and its counts from a row of :func:`counts_to_row`."""
    beat, at_s, sums, alone, moves = row
    together, right, left, both, late = map(float, sums)
    beat_counts = BeatCounts(together, right, left, both, late, at_s=float(at_s))
    for hand, counts, recent in zip(Hand, alone, moves, strict=True):
        beat_counts.alone[hand] = AttemptCounts(*counts)
        beat_counts.moves[hand].extend(map(_attempt_from_row, recent))
    return Fraction(beat), beat_counts


def _attempt_from_row(row: Sequence[Any]) -> MoveAttempt:
    outcome, onset, error_ms, together, ease = row
    kind = Outcome(outcome)
    return MoveAttempt(kind in FAILED, kind, Fraction(onset), error_ms, together, ease)


FADE_PER_ATTEMPT = 0.97
"""What an attempt keeps of its weight with each later one of the same beat: half after 23. Own
choice, because what was played some twenty times ago was played by another pianist."""
FADE_PER_DAY = 0.7
"""What is left of a weight a day later. Own choice, because skill drifts and is forgotten from day
to day: half is left after two days, a tenth after a week."""
AFTER_A_FAILURE = 0.5
"""What a failure counts in a hand that has just failed on the beat before. Own choice, because the
second failure may be the first one's doing: the hand is still finding its way back."""
OLDEST_DAYS = 21.0
"""Observations older than this weigh under a thousandth (0.7 to the 21st) and are passed over."""
MOST_OBSERVATIONS = 6000
"""How many of the newest observations are read from a history. Own choice, because what is older is
carried by the counts that are kept."""
_DAY_S = 86400.0


class Evidence:
    """The counts of all beats."""

    def __init__(self) -> None:
        self.beats: dict[Fraction, BeatCounts] = {}

    def counts_at(self, to_quarters: Fraction) -> BeatCounts:
        """The counts of a beat; empty ones where nothing was observed."""
        return self.beats.get(to_quarters) or BeatCounts()

    def add(self, heard: Sequence[Observation], goal_qpm: float | None) -> None:
        """Take in the observations of one repetition, in the order of the excerpt."""
        failed_before: dict[Hands, bool] = {}
        beats: dict[Fraction, list[Observation]] = {}
        for one in heard:
            beats.setdefault(one.transition.to_quarters, []).append(one)
        for to_quarters, ones in beats.items():
            reached = [one for one in ones if one.outcome is not Outcome.NOT_REACHED]
            if reached:
                beat_counts = self.beats.setdefault(to_quarters, BeatCounts())
                _add_observations(beat_counts, reached, goal_qpm, failed_before)

    def discount_mended(self, to_quarters: Fraction, hands: Hands) -> None:
        """A full clean run went over this move: what failed before counts for less."""
        beat_counts = self.counts_at(to_quarters)
        for hand in hands.members:
            beat_counts.discount_failures(hand)

    def broke_lately(self, move: Transition, attempts: int) -> bool:
        """Whether a single hand's move failed in one of its last so many attempts."""
        kept = self.counts_at(move.to_quarters).moves[single_hand_of(move)]
        return any(attempt.failed for attempt in list(kept)[-attempts:])

    def to_rows(self) -> list[list[Any]]:
        """The sums as JSON-ready rows; :meth:`from_rows` reads them back."""
        return [counts_to_row(beat, beat_counts) for beat, beat_counts in self.beats.items()]

    @classmethod
    def from_rows(cls, rows: Iterable[Sequence[Any]]) -> Evidence:
        """Evidence from the rows of :meth:`to_rows`."""
        out = cls()
        for row in rows:
            beat, beat_counts = counts_from_row(row)
            out.beats[beat] = beat_counts
        return out


def _add_observations(
    beat_counts: BeatCounts,
    ones: list[Observation],
    goal_qpm: float | None,
    failed_before: dict[Hands, bool],
) -> None:
    ease = _ease(ones[0].qpm, goal_qpm)
    _fade_until(beat_counts, ones[0].at_s)
    weight = 1.0 if any(map(_is_failure, ones)) else clean_weight(ease)
    if any(_is_failure(one) and failed_before.get(one.transition.hands) for one in ones):
        weight = AFTER_A_FAILURE
    failed_before.update({one.transition.hands: _is_failure(one) for one in ones})
    together = ones[0].hands_played is Hands.TOGETHER
    _add_counts(beat_counts, ones, together, weight)
    for one in ones:
        move = MoveAttempt(
            _is_failure(one), one.outcome, one.onset_quarters, one.error_ms, together, ease
        )
        beat_counts.moves[single_hand_of(one.transition)].append(move)


def _is_failure(one: Observation) -> bool:
    return one.outcome in FAILED


def _ease(qpm: float | None, goal_qpm: float | None) -> float:
    return qpm / goal_qpm if qpm and goal_qpm else 1.0


SAYS_NOTHING, SAYS_ALL = 1 / 3, 0.95
"""Shares of the tempo asked for, at which a clean move says nothing of that tempo and says all. Own
choice, because at a third it is another movement, and what lies within a metronome mark is the
same."""
LEAST_WEIGHT = 0.05
"""What a clean move counts at the least. Own choice, because however slow, it was the right key."""


def clean_weight(ease: float) -> float:
    """What a clean move at a share of the tempo asked for says about that tempo.

    Next to nothing at a third of it, all of it from 0.95 on, in a straight line between: errors and
    variability grow with tempo (Pfordresher, Palmer and Jungers 2007; Dalla Bella and Palmer 2011).
    """
    return min(max((ease - SAYS_NOTHING) / (SAYS_ALL - SAYS_NOTHING), LEAST_WEIGHT), 1.0)


def _fade_until(beat_counts: BeatCounts, at_s: float) -> None:
    keep = FADE_PER_ATTEMPT
    if beat_counts.at_s and at_s > beat_counts.at_s:
        keep *= FADE_PER_DAY ** ((at_s - beat_counts.at_s) / _DAY_S)
    beat_counts.fade(keep)
    beat_counts.at_s = max(at_s, beat_counts.at_s)


def _add_counts(
    beat_counts: BeatCounts, ones: Sequence[Observation], together: bool, weight: float
) -> None:
    failed = {one.transition.hands: one.outcome for one in ones if _is_failure(one)}
    if failed and set(failed.values()) == {Outcome.LATE}:
        beat_counts.late += weight
    if not together:
        for one in ones:
            counts = beat_counts.alone[single_hand_of(one.transition)]
            counts.attempts += weight
            counts.failed += weight * _is_failure(one)
            counts.late += weight * (1.0 if _is_failure(one) else one.hears_late)
        return
    beat_counts.together += weight
    if len(failed) == 2:
        beat_counts.both_failed += weight
    elif Hands.RIGHT in failed:
        beat_counts.right_failed += weight
    elif Hands.LEFT in failed:
        beat_counts.left_failed += weight


def fold_history(
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


def evidence_to_plain(evidence: Evidence, goal_qpm: float | None) -> dict[str, Any]:
    """The sums, JSON-ready, for :func:`restore_evidence`."""
    until_s = max((beat_counts.at_s for beat_counts in evidence.beats.values()), default=0.0)
    return {"qpm": goal_qpm, "until_s": until_s, "sums": evidence.to_rows()}


def restore_evidence(
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
        return fold_history(rows, goal_qpm, now_s)
    newer = _newer_than(rows, float(plain["until_s"]) + SAVED_WITHIN_S)
    return fold_history(newer, goal_qpm, now_s, Evidence.from_rows(plain["sums"]))


def _newer_than(rows: Sequence[Observation], at_s: float) -> list[Observation]:
    return list(takewhile(lambda one: one.at_s > at_s, reversed(rows)))[::-1]
