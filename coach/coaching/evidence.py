"""What was heard so far of every beat-to-beat move, as sums that fade.

Conventions
-----------
- A beat's tally is addressed by the beat that is arrived at (``Transition.to_quarters``).
- Counts are weights: a repetition counts 1 when it is new and fades with every later one of the
  same beat and with every day; a clean move at an easier tempo counts for less than one at the
  tempo asked for, a failed one counts in full at any tempo.
- Sums fade by multiplication, so that they can be kept instead of the single observations
  (:meth:`Evidence.plain`): opening a long record costs nothing that grows with it.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import groupby
from operator import attrgetter
from typing import Any

from coach.coaching.facts import Observation
from coach.judging.facts import Judgement, Outcome, TransitionResult
from coach.score.model import Hand, Hands

FADE_PER_ATTEMPT = 0.97
"""What an attempt keeps of its weight with each later one of the same beat (half after 23)."""
FADE_PER_DAY = 0.7
"""What is left of a weight a day later: skill drifts and is forgotten overnight."""
MENDED_KEEPS = 0.4
"""What earlier failures still count after a full clean run over them."""
AFTER_A_FAILURE = 0.5
"""What a failure counts in a hand that has just failed on the beat before."""
KEPT_MOVES = 8
"""How many single moves of each hand are kept in full, to be told as evidence."""
OLDEST_DAYS = 21.0
"""Observations older than this weigh under a thousandth and are passed over."""
MOST_OBSERVATIONS = 6000
"""How many of the newest observations are read from a history; keep sums for longer ones."""
_DAY_S = 86400.0

FAILED = frozenset({Outcome.WRONG, Outcome.LATE, Outcome.EARLY, Outcome.UNEVEN, Outcome.REPEATED})


def observations(judgement: Judgement, at_s: float) -> tuple[Observation, ...]:
    """What a judgement says of each transition of each hand, as it is kept in the record.

    Where the playing just stopped, with nothing else wrong, the first move that was not reached
    is what failed: it is kept as late.
    """
    at_fault = _onsets_at_fault(judgement)
    stopped = _stopped_at(judgement)
    return tuple(
        Observation(
            at_s=at_s,
            transition=result.transition,
            onset_quarters=at_fault.get(
                (result.transition.hands, result.transition.to_quarters),
                result.transition.to_quarters,
            ),
            hands_played=judgement.excerpt.window.hands,
            outcome=Outcome.LATE if i == stopped else result.outcome,
            qpm=judgement.qpm,
            error_ms=result.error_ms,
        )
        for i, result in enumerate(judgement.transitions)
    )


def _onsets_at_fault(judgement: Judgement) -> dict[tuple[Hands, Fraction], Fraction]:
    """The heaviest fault's onset in each transition, both hands' faults given to each hand."""
    out: dict[tuple[Hands, Fraction], Fraction] = {}
    for fault in judgement.faults:
        if not fault.forgiven:
            for hand in fault.hands.members:
                out.setdefault((Hands(hand), fault.transition.to_quarters), fault.onset_quarters)
    notes = judgement.excerpt.notes
    for result in judgement.transitions:
        if result.note is not None:
            key = (result.transition.hands, result.transition.to_quarters)
            out.setdefault(key, notes[result.note].onset_quarters)
    return out


def _stopped_at(judgement: Judgement) -> int | None:
    results = judgement.transitions
    if judgement.complete or any(r.outcome in FAILED for r in results):
        return None
    unreached = [i for i, r in enumerate(results) if r.outcome is Outcome.NOT_REACHED]
    return unreached[0] if unreached and not _nothing_played(results) else None


def _nothing_played(results: Sequence[TransitionResult]) -> bool:
    return all(result.outcome is Outcome.NOT_REACHED for result in results)


@dataclass(slots=True)
class Counts:
    """Weighted attempts and failures of one kind."""

    attempts: float = 0.0
    failed: float = 0.0


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
        for counts in self.alone.values():
            counts.attempts *= keep
            counts.failed *= keep

    def mend(self, hand: Hand) -> None:
        """Let a hand's failures count for less, and as clean: it has held since."""
        counts = self.alone[hand]
        counts.failed *= MENDED_KEEPS
        self.both_failed *= MENDED_KEEPS
        if hand is Hand.RIGHT:
            self.right_failed *= MENDED_KEEPS
        else:
            self.left_failed *= MENDED_KEEPS

    def failed_together(self, hand: Hand) -> float:
        """Weight of failures of this hand while both played."""
        own = self.right_failed if hand is Hand.RIGHT else self.left_failed
        return own + self.both_failed

    @property
    def has_failed(self) -> bool:
        """Whether anything ever failed here, in any hand."""
        together = self.right_failed + self.left_failed + self.both_failed
        return together + sum(counts.failed for counts in self.alone.values()) > 0.0

    def totals(self, hand: Hand) -> tuple[float, float]:
        """Failures and attempts of this hand, however many hands played."""
        alone = self.alone[hand]
        return self.failed_together(hand) + alone.failed, self.together + alone.attempts


class Evidence:
    """All beats' tallies."""

    def __init__(self) -> None:
        self.beats: dict[Fraction, BeatTally] = {}

    def tally(self, to_quarters: Fraction) -> BeatTally:
        """The tally of a beat; a new empty one where nothing was heard."""
        found = self.beats.get(to_quarters)
        if found is None:
            found = self.beats[to_quarters] = BeatTally()
        return found

    def add(self, heard: Sequence[Observation], goal_qpm: float | None) -> None:
        """Take in the observations of one repetition, in the order of the excerpt."""
        failed_before: dict[Hands, bool] = {}
        beats: dict[Fraction, list[Observation]] = {}
        for one in heard:
            beats.setdefault(one.transition.to_quarters, []).append(one)
        for to_quarters, ones in beats.items():
            reached = [one for one in ones if one.outcome is not Outcome.NOT_REACHED]
            if reached:
                self._add_beat(self.tally(to_quarters), reached, goal_qpm, failed_before)

    def _add_beat(
        self,
        tally: BeatTally,
        ones: list[Observation],
        goal_qpm: float | None,
        failed_before: dict[Hands, bool],
    ) -> None:
        ease = _ease(ones[0].qpm, goal_qpm)
        _age(tally, ones[0].at_s)
        failed = {Hand(one.transition.hands.value): one.outcome in FAILED for one in ones}
        weight = 1.0 if any(failed.values()) else clean_weight(ease)
        if any(_failed(one) and failed_before.get(one.transition.hands) for one in ones):
            # A hand that has just failed is still finding its way back.
            weight = AFTER_A_FAILURE
        failed_before.update({one.transition.hands: _failed(one) for one in ones})
        together = ones[0].hands_played is Hands.TOGETHER
        _count(tally, failed, together, weight)
        for one in ones:
            move = Move(_failed(one), one.outcome, one.onset_quarters, one.error_ms, together, ease)
            tally.moves[Hand(one.transition.hands.value)].append(move)

    def mended(self, to_quarters: Fraction, hands: Hands) -> None:
        """A full clean run went over this move: what failed before counts for less."""
        tally = self.tally(to_quarters)
        for hand in hands.members:
            tally.mend(hand)

    def plain(self) -> list[list[Any]]:
        """The sums as JSON-ready rows; :meth:`from_plain` reads them back."""
        return [_plain_row(beat, tally) for beat, tally in self.beats.items()]

    @classmethod
    def from_plain(cls, rows: Iterable[Sequence[Any]]) -> Evidence:
        """Evidence from the rows of :meth:`plain`."""
        out = cls()
        for row in rows:
            beat, tally = _tally_from(row)
            out.beats[beat] = tally
        return out


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


def _count(tally: BeatTally, failed: Mapping[Hand, bool], together: bool, weight: float) -> None:
    if not together:
        for hand, fails in failed.items():
            tally.alone[hand].attempts += weight
            tally.alone[hand].failed += weight * fails
        return
    tally.together += weight
    right, left = failed.get(Hand.RIGHT, False), failed.get(Hand.LEFT, False)
    if right and left:
        tally.both_failed += weight
    elif right:
        tally.right_failed += weight
    elif left:
        tally.left_failed += weight


def fold(history: Iterable[Observation], goal_qpm: float | None, now_s: float) -> Evidence:
    """The evidence of a record's observations, oldest first, as it stands at ``now_s``.

    Only the newest :data:`MOST_OBSERVATIONS` of the last :data:`OLDEST_DAYS` days are read, as
    older ones have faded; to carry more, keep :meth:`Evidence.plain`.
    """
    rows = history if isinstance(history, list | tuple) else list(history)
    oldest_s = now_s - OLDEST_DAYS * _DAY_S
    out = Evidence()
    recent = [one for one in rows[-MOST_OBSERVATIONS:] if one.at_s >= oldest_s]
    for _, repetition in groupby(recent, key=attrgetter("at_s")):
        out.add(list(repetition), goal_qpm)
    return out


def _plain_row(beat: Fraction, tally: BeatTally) -> list[Any]:
    alone = [[tally.alone[h].attempts, tally.alone[h].failed] for h in Hand]
    moves = [[_plain_move(move) for move in tally.moves[h]] for h in Hand]
    sums = [tally.together, tally.right_failed, tally.left_failed, tally.both_failed]
    return [str(beat), tally.at_s, sums, alone, moves]


def _plain_move(move: Move) -> list[Any]:
    onset = str(move.onset_quarters)
    return [move.outcome.value, onset, move.error_ms, move.together, move.ease]


def _tally_from(row: Sequence[Any]) -> tuple[Fraction, BeatTally]:
    beat, at_s, sums, alone, moves = row
    together, right, left, both = map(float, sums)
    tally = BeatTally(together, right, left, both, at_s=float(at_s))
    for hand, (attempts, failed), kept in zip(Hand, alone, moves, strict=True):
        tally.alone[hand] = Counts(attempts, failed)
        tally.moves[hand].extend(map(_move_from, kept))
    return Fraction(beat), tally


def _move_from(row: Sequence[Any]) -> Move:
    outcome, onset, error_ms, together, ease = row
    kind = Outcome(outcome)
    return Move(kind in FAILED, kind, Fraction(onset), error_ms, together, ease)
