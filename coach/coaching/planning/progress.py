"""What the record tells of a piece over the days: which bars hold, how fast, how surely.

A day is a number that the caller gives for a time: days end at four in the morning, and this room
knows no clocks.

Four states of a bar, for each hand
    **untouched**: never reached. **weak**: it would fail in more than a third of its tries, as far
    as the last ones tell. **holding**: it would not. **settled**: it holds, and was clean on three
    days after the first. The figures are our own choice; that a passage is learnt only when it
    holds on later days is Rawson and Dunlosky's (2011, Journal of Experimental Psychology: General
    140, 283-302; verbal recall, not the piano).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from coach.coaching.model import Observation
from coach.coaching.observations import FAILED
from coach.judging.model import Outcome
from coach.score.model import Hand, Score

Day = int
"""A day's number in the calendar, as Python's ``date.toordinal`` counts them."""
DayOf = Callable[[float], Day]
"""The day of a time in unix seconds."""

FADES = 0.75
"""What a try keeps of its weight with each later one. Own choice, because the last five tries then
count for three quarters of all."""
WEAK_FROM = 0.35
"""Chance of failing from which a bar is weak. Own choice, because after two failures three clean
ones running just lift a bar over it, as they end a search in the drill."""
SETTLED_DAYS = 3
"""Days after the first on which a bar has to be clean to be settled."""
SITTING_GAP_S = 60.0
"""Between two repetitions no more than this counts as practice. Own choice, because longer pauses
are talk, tea or another piece."""


class BarState(StrEnum):
    """How a hand stands in a bar."""

    UNTOUCHED = "untouched"
    WEAK = "weak"
    HOLDING = "holding"
    SETTLED = "settled"


BarMap = Mapping[tuple[int, Hand], BarState]
"""By the bar's index and the hand; a hand that has nothing there is left out."""


@dataclass(frozen=True, slots=True)
class PlayedOnce:
    """A repetition, as far as progress asks."""

    at_s: float
    window: tuple[str, str, str]
    """Its beginning, its end and its hands."""
    clean: bool
    qpm: float | None


@dataclass(frozen=True, slots=True)
class DayFigures:
    """One day of practice."""

    day: Day
    minutes: float
    repetitions: int
    clean: int
    first_tries: int
    """Windows that were played for the first time that day."""
    first_clean: int
    """Of these, the clean ones."""


def map_bars(
    score: Score, history: Iterable[Observation], day_of: DayOf, until: Day | None = None
) -> BarMap:
    """Every bar's state for each hand that has notes in it, as it stood at the end of a day."""
    tries: dict[tuple[int, Hand], list[tuple[Day, bool]]] = defaultdict(list)
    for one in sorted(history, key=lambda one: one.at_s):
        day = day_of(one.at_s)
        if one.outcome is Outcome.NOT_REACHED or (until is not None and day > until):
            continue
        bar = score.bar_at(one.onset_quarters).index
        for hand in one.transition.hands.members:
            tries[bar, hand].append((day, one.outcome in FAILED))
    written = {(note.bar_index, note.hand) for note in score.notes}
    return {place: _state(tries.get(place, [])) for place in sorted(written, key=_order)}


def _order(place: tuple[int, Hand]) -> tuple[int, bool]:
    return place[0], place[1] is Hand.LEFT


def _state(tries: Sequence[tuple[Day, bool]]) -> BarState:
    if not tries:
        return BarState.UNTOUCHED
    if chance_of_failing([failed for _, failed in tries]) > WEAK_FROM:
        return BarState.WEAK
    by_day: dict[Day, list[bool]] = defaultdict(list)
    for day, failed in tries:
        by_day[day].append(failed)
    clean_days = [day for day in sorted(by_day)[1:] if not any(by_day[day])]
    return BarState.SETTLED if len(clean_days) >= SETTLED_DAYS else BarState.HOLDING


def chance_of_failing(failed: Sequence[bool]) -> float:
    """The expected chance that the next try fails: tries that fade, and a uniform prior of one try
    each way (a discounted Beta-binomial)."""
    attempts = failures = 0.0
    for one in failed:
        attempts, failures = attempts * FADES + 1, failures * FADES + one
    return (failures + 0.5) / (attempts + 1)


def count_days(played: Iterable[PlayedOnce], day_of: DayOf) -> tuple[DayFigures, ...]:
    """Each day's figures, the earliest first."""
    days: dict[Day, list[PlayedOnce]] = defaultdict(list)
    for one in sorted(played, key=lambda one: one.at_s):
        days[day_of(one.at_s)].append(one)
    return tuple(_figures(day, ones) for day, ones in sorted(days.items()))


def _figures(day: Day, ones: Sequence[PlayedOnce]) -> DayFigures:
    firsts: dict[tuple[str, str, str], bool] = {}
    for one in ones:
        firsts.setdefault(one.window, one.clean)
    gaps_s = (min(after.at_s - before.at_s, SITTING_GAP_S) for before, after in pairwise(ones))
    return DayFigures(
        day,
        sum(gaps_s) / 60,
        len(ones),
        sum(one.clean for one in ones),
        len(firsts),
        sum(firsts.values()),
    )


def best_tempi(
    played: Iterable[PlayedOnce], day_of: DayOf
) -> dict[tuple[str, str, str], dict[Day, float]]:
    """For each window the quickest clean repetition of each day, in quarters a minute."""
    out: dict[tuple[str, str, str], dict[Day, float]] = defaultdict(dict)
    for one in played:
        if one.clean and one.qpm is not None:
            day = day_of(one.at_s)
            out[one.window][day] = max(out[one.window].get(day, 0.0), one.qpm)
    return dict(out)
