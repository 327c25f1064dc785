"""Hands together: one hand late or early at an onset, and chords that fell apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass
from math import sqrt
from statistics import median

from coach.judging.habits import Habits
from coach.judging.timing_moments import Moment
from coach.judging.tolerance import Tolerance
from coach.score.model import Hand

_PLAIN = 0.2
"""The later hand is this near to the line, as a share of the hands' distance: then the other was
early. Being late is by far the likelier mistake, so it needs plain evidence."""
_LEAST_LINE = 3
"""Moments that make a line: between two there is no saying which hand kept the beat."""
_LEAST_PULSE = 3
"""Onsets from which a hand has a pulse of its own that it could be early against. Where the other
plays nearly all, the line is that hand's, and lies near it also where it falls behind."""
_ALONE = 1.2
"""How much more is asked where the other hand does not play at the same onset."""
_USUALLY_S, _USUALLY_SHARE, _USUALLY_WEIGHT = 0.025, 0.03, 4
"""How far hands part before any parting is seen (the melody's lead of 30 ms, Goebl 2001), or this
share of the beat, since expressive parting grows as the music slows; and for how many seen onsets
it stands."""
_FAR_S = 0.15
"""One far parting says no more of the others than this."""
_ALONE_SHARE = 0.3
_ALONE_NOISE = 2.5


@dataclass(frozen=True, slots=True)
class Parted:
    """One hand's onset away from where the line and the other hand have it."""

    moment: int
    hand: Hand
    error_s: float
    """Positive when late."""


@dataclass(frozen=True, slots=True)
class Split:
    """A chord of one hand of which a note came late, as an event of its own."""

    moment: int
    hand: Hand
    note: int
    gap_s: float


def parted(
    row: Sequence[Moment],
    line: Sequence[float],
    beat_s: float,
    tolerance: Tolerance,
    habits: Habits | None = None,
) -> tuple[Parted, ...]:
    """Single onsets at which one hand was late or early, in order of time.

    ``beat_s`` is the length of a beat: hands part further when the music is slow. A parting that
    the habits show as meant is left out.
    """
    limit = tolerance.hands_apart_ms(beat_s * 1000) / 1000
    least = tolerance.hands_apart_least_ms(beat_s * 1000) / 1000
    apart = _distances(row)
    pulsed = {
        hand for hand in Hand if sum(moment.of(hand) is not None for moment in row) >= _LEAST_PULSE
    }
    found = []
    for i, moment in enumerate(row):
        if moment.torn or any(hand.loose for hand in moment.hands):
            continue
        if len(moment.hands) == 2:
            stands_out = abs(apart[i]) > least and _unusual(apart, i, beat_s) > tolerance.z_limit
            due_s = line[i] if len(row) >= _LEAST_LINE else None
            one = _of_two(moment, i, due_s, least if stands_out else limit, pulsed)
        else:
            one = _of_one(row, line, i, _ALONE * limit)
        if one is not None and not _is_meant(one, moment, beat_s, habits):
            found.append(one)
    return tuple(found)


def _distances(row: Sequence[Moment]) -> dict[int, float]:
    """How far the hands are apart at each moment that both struck in time."""
    return {
        i: moment.apart_s
        for i, moment in enumerate(row)
        if moment.apart_s is not None and not any(hand.loose for hand in moment.hands)
    }


def _unusual(apart: Mapping[int, float], i: int, beat_s: float) -> float:
    """How far one distance is from the others of this repetition, in standard deviations.

    Where these keep together, a parting stands out that would be expression in a freer playing.
    """
    others = [distance for j, distance in apart.items() if j != i]
    count = len(others)
    middle = median(others) * count / (count + 1) if others else 0.0
    usual = max(_USUALLY_S, _USUALLY_SHARE * beat_s)
    squares = sum(min(abs(x - middle), _FAR_S) ** 2 for x in others)
    variance = (squares + _USUALLY_WEIGHT * usual**2) / (count + _USUALLY_WEIGHT)
    return abs(apart[i] - middle) / sqrt(variance * (1 + 1 / (count + 1)))


def _is_meant(one: Parted, moment: Moment, beat_s: float, habits: Habits | None) -> bool:
    if habits is None:
        return False
    error_ms, beat_ms = one.error_s * 1000, beat_s * 1000
    return habits.is_expressive(moment.onset_quarters, one.hand, error_ms, beat_ms)


def _of_two(
    moment: Moment, i: int, due_s: float | None, limit: float, pulsed: Set[Hand]
) -> Parted | None:
    """The hand that parted from the other: the later one, unless the line says plainly no."""
    early, late = sorted(moment.hands, key=lambda hand: hand.at_s)
    clear_s = late.first_s - early.last_s
    if clear_s <= limit:
        return None
    kept_beat = due_s is not None and abs(late.at_s - due_s) < _PLAIN * (late.at_s - early.at_s)
    if kept_beat and early.hand in pulsed and clear_s > _ALONE * limit:
        return Parted(i, early.hand, -clear_s)
    return Parted(i, late.hand, clear_s)


def _of_one(row: Sequence[Moment], line: Sequence[float], i: int, limit: float) -> Parted | None:
    """A lone onset counts where its neighbours keep the line and it leaves it clearly."""
    error = row[i].at_s - line[i]
    if abs(error) <= limit or i in (0, len(row) - 1) or row[i].broken:
        return None
    others = max(abs(row[j].at_s - line[j]) for j in (i - 1, i + 1))
    span = line[i + 1] - line[i - 1]
    if abs(error) <= max(_ALONE_SHARE * span, _ALONE_NOISE * others):
        return None
    return Parted(i, row[i].hands[0].hand, error)


def splits(row: Sequence[Moment], beat_s: float, tolerance: Tolerance) -> tuple[Split, ...]:
    """Chords that fell apart into two events; a chord rolled evenly is none."""
    limit = tolerance.hands_apart_ms(beat_s * 1000) / 1000
    return tuple(
        Split(i, hand.hand, hand.behind, hand.gap_s)
        for i, moment in enumerate(row)
        for hand in moment.hands
        if hand.behind is not None and hand.gap_s > limit and not hand.loose
    )
