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

from collections.abc import Iterable, Sequence
from fractions import Fraction
from itertools import groupby
from operator import attrgetter
from typing import Any

from coach.coaching.facts import Observation
from coach.coaching.observing import FAILED
from coach.coaching.tally import BeatTally, Move, hand_of, plain_row, tally_from
from coach.judging.facts import Outcome
from coach.score.model import Hands

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
    (:mod:`coach.coaching.sums`), which is added to.
    """
    rows = history if isinstance(history, list | tuple) else list(history)
    oldest_s = now_s - OLDEST_DAYS * _DAY_S
    out = Evidence() if before is None else before
    recent = [one for one in rows[-MOST_OBSERVATIONS:] if one.at_s >= oldest_s]
    for _, repetition in groupby(recent, key=attrgetter("at_s")):
        out.add(list(repetition), goal_qpm)
    return out
