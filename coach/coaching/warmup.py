"""The warm-up: the spots that were weak when the pianist last played, worst first.

The rule is unconditional for the next day: every spot that failed in the last session comes
again, also one that was mended, because a day's sleep lies between (Rawson and Dunlosky, 2011:
relearn on later days; the figures come from verbal recall, not from the piano).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from coach.coaching.facts import Observation
from coach.coaching.places import Places
from coach.judging.facts import Outcome
from coach.score.choose import whole_piece
from coach.score.model import Score
from coach.score.window import Transition, Window

SESSION_GAP_S = 3 * 3600.0
"""A pause this long ends a session. Our choice: longer than a meal, shorter than a night."""

SLIP_RATE = 1 / 3
"""A spot that fails in fewer of its tries than this, and only once, was a slip. Our choice."""

REPETITIONS = 5
"""Repetitions that a short drill is expected to take: three clean and two to get there."""

USUAL_QPM = 80.0
"""Where no tempo is known of a spot. Our choice: a walking pace."""

LINE_S = 3.0
"""Seconds between two repetitions, for reading the verdict and lifting the hands."""


@dataclass(frozen=True, slots=True)
class WeakSpot:
    """A transition of one hand that failed when the pianist last played."""

    transition: Transition
    failures: int
    tries: int
    mended: bool
    """The last three tries of the session were clean."""
    qpm: float | None
    """The tempo it was last tried at, in quarters a minute."""

    @property
    def weight(self) -> float:
        """How weak: the expected chance of failing (uniform prior), mended spots after all
        others."""
        chance = (self.failures + 1) / (self.tries + 2)
        return chance - 1.0 if self.mended else chance


@dataclass(frozen=True, slots=True)
class WarmUp:
    """One short drill of the warm-up."""

    spot: WeakSpot
    window: Window
    qpm: float
    expected_s: float
    """How long it will take, about."""

    @property
    def reason(self) -> str:
        """Why it comes, in a sentence."""
        failed = f"it failed {self.spot.failures} of {self.spot.tries} times"
        if self.spot.mended:
            return f"Weak when you last played: {failed}, and then it held. Does it still?"
        return f"Weak when you last played: {failed}."


def last_session(history: Iterable[Observation]) -> tuple[Observation, ...]:
    """The observations of the last session, in the order of time."""
    ordered = sorted(history, key=lambda one: one.at_s)
    start = len(ordered)
    while start > 0:
        gap_s = ordered[start].at_s - ordered[start - 1].at_s if start < len(ordered) else 0.0
        if gap_s > SESSION_GAP_S:
            break
        start -= 1
    return tuple(ordered[start:])


def weak_spots(history: Iterable[Observation]) -> tuple[WeakSpot, ...]:
    """The weak spots of the last session, worst first."""
    tries: dict[Transition, list[Observation]] = defaultdict(list)
    for one in last_session(history):
        if one.outcome is not Outcome.NOT_REACHED:
            tries[one.transition].append(one)
    spots = (_spot(transition, seen) for transition, seen in tries.items())
    weak = (spot for spot in spots if _is_weak(spot))
    return tuple(sorted(weak, key=lambda spot: (-spot.weight, spot.transition.to_quarters)))


def _spot(transition: Transition, seen: Sequence[Observation]) -> WeakSpot:
    failed = [one.outcome is not Outcome.CLEAN for one in seen]
    tempos = [one.qpm for one in seen if one.qpm is not None]
    mended = len(failed) >= 3 and not any(failed[-3:])
    return WeakSpot(transition, sum(failed), len(failed), mended, tempos[-1] if tempos else None)


def _is_weak(spot: WeakSpot) -> bool:
    return spot.failures >= 2 or (spot.failures == 1 and spot.failures / spot.tries >= SLIP_RATE)


def warm_up(score: Score, history: Iterable[Observation], *, minutes: float) -> tuple[WarmUp, ...]:
    """Short drills of the weak spots that fit into the minutes, worst first; at least one."""
    places = Places(score, whole_piece(score))
    chosen: list[WarmUp] = []
    left_s = minutes * 60.0
    for spot in weak_spots(history):
        item = _item(places, spot)
        if any(item.window.contains(other.window) for other in chosen):
            continue
        if chosen and item.expected_s > left_s:
            break
        chosen.append(item)
        left_s -= item.expected_s
    return tuple(chosen)


def all_fit(spots: Iterable[WeakSpot], minutes: float) -> bool:
    """Whether the warm-up takes all of these spots, told without their score.

    By the same rule, with each spot's usual window (a beat of run-up and the move) at the tempo it
    was last tried at.
    """
    moves = ((spot, spot.transition.to_quarters - spot.transition.from_quarters) for spot in spots)
    return sum(_expected_s(2 * move, spot.qpm or USUAL_QPM) for spot, move in moves) <= 60 * minutes


def _expected_s(quarters: Fraction, qpm: float) -> float:
    """How long a short drill takes, about: its repetitions, each with its landing and a breath."""
    return REPETITIONS * (float(quarters + 1) * 60.0 / qpm + LINE_S)


def _item(places: Places, spot: WeakSpot) -> WarmUp:
    """The spot's hand alone, with a beat of run-up, landing on the note arrived at."""
    window = places.around(spot.transition, spot.transition.hands)
    asked_qpm = places.score.tempo_at(window.start_quarters)
    qpm = round(min(spot.qpm or asked_qpm, asked_qpm))
    return WarmUp(spot, window, qpm, _expected_s(window.end_quarters - window.start_quarters, qpm))
