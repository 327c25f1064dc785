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
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from math import comb
from typing import NamedTuple

from coach.score.model import Hand, Hands, Score
from coach.score.window import Transition, Window

Day = int
"""A day's number in the calendar, as Python's ``date.toordinal`` counts them."""
DayOf = Callable[[float], Day]
"""The day of a time in unix seconds."""

FADES = 0.75
"""What a try keeps of its weight with each later one. Own choice, because the last five tries then
count for three quarters of all."""
LOOKED_AT = 40
"""Tries that are looked at, the last ones: one before them weighs a hundred-thousandth of one."""
WEAK_FROM = 0.35
"""Chance of failing from which a bar is weak. Own choice, because after two failures three clean
ones running just lift a bar over it, as they end a search in the drill."""
SETTLED_DAYS = 3
"""Days after the first on which a bar has to be clean to be settled."""
SITTING_GAP_S = 60.0
"""Between two repetitions no more than this counts as practice. Own choice, because longer pauses
are talk, tea or another piece."""
BROKE_TIMES = 2
"""Failures on one day that are no slip. Own choice, as for the coach: one may be chance."""
LEFT_CLEAN = 3
"""Clean repetitions running with which a day has to end for a passage to be left clean: the usual
clean run."""
ENOUGH_NIGHTS = 10
"""Nights after either way of leaving a passage before the two are compared. Own choice."""
BEYOND_CHANCE = 0.05
"""Share of chance alone below which a difference is told: the usual level."""


class BarState(StrEnum):
    """How a hand stands in a bar."""

    UNTOUCHED = "untouched"
    WEAK = "weak"
    HOLDING = "holding"
    SETTLED = "settled"


BarMap = Mapping[tuple[int, Hand], BarState]
"""By the bar's index and the hand; a hand that has nothing there is left out."""
PassageKey = tuple[str, str, str]
"""A window's beginning, its end and its hands, as the record has them."""


class Try(NamedTuple):
    """One move of one hand in one repetition, as far as progress asks."""

    move: Transition
    onset_quarters: Fraction
    failed: bool


@dataclass(frozen=True, slots=True)
class PlayedOnce:
    """A repetition, as far as progress asks."""

    at_s: float
    window: PassageKey
    clean: bool
    qpm: float | None
    tries: tuple[Try, ...] = ()


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


@dataclass(slots=True)
class PassageFigures:
    """What was played of one window over the days."""

    window: Window
    minutes: float = 0.0
    repetitions: int = 0
    clean: int = 0
    best_qpm: dict[Day, float] = field(default_factory=dict)
    """The quickest clean repetition of each day, in quarters a minute."""


class DayTries(NamedTuple):
    """One day's tries at one spot, and how it stood when the day was over."""

    day: Day
    tries: int
    failed: int
    state: BarState


@dataclass(frozen=True, slots=True)
class SpotStory:
    """One hand's move over the days."""

    move: Transition
    days: tuple[DayTries, ...]

    @property
    def state(self) -> BarState:
        """How it stands now."""
        return self.days[-1].state

    @property
    def tries(self) -> int:
        """All of them."""
        return sum(day.tries for day in self.days)

    @property
    def failed(self) -> int:
        """All that failed."""
        return sum(day.failed for day in self.days)


@dataclass(frozen=True, slots=True)
class Nights:
    """Passages that were left in one way, and how they were found when next played."""

    count: int = 0
    first_clean: int = 0
    """Clean at the first try."""
    until_clean: int = 0
    """Repetitions up to and with the first clean one, all together; all of that day's where none
    was."""


@dataclass(frozen=True, slots=True)
class Endings:
    """Whether it was worth while to leave a passage clean, from the pianist's own record."""

    left_clean: Nights
    left_before: Nights


class _Place:
    """The tries of one hand at one place, day by day."""

    __slots__ = ("by_day",)

    def __init__(self) -> None:
        self.by_day: dict[Day, list[bool]] = {}

    def state(self, until: Day | None = None) -> BarState:
        days = [tries for day, tries in self.by_day.items() if until is None or day <= until]
        if not days:
            return BarState.UNTOUCHED
        last: list[bool] = []
        for tries in reversed(days):
            last = tries[-LOOKED_AT:] + last
            if len(last) >= LOOKED_AT:
                break
        if chance_of_failing(last[-LOOKED_AT:]) > WEAK_FROM:
            return BarState.WEAK
        clean_days = sum(not any(tries) for tries in days[1:])
        return BarState.SETTLED if clean_days >= SETTLED_DAYS else BarState.HOLDING


class Diary:
    """The practice of one piece, looked at as it stood at the end of any day."""

    def __init__(self, score: Score, played: Iterable[PlayedOnce], day_of: DayOf) -> None:
        self.score = score
        self._played = [(day_of(one.at_s), one) for one in sorted(played, key=lambda one: one.at_s)]
        self._bars: dict[tuple[int, Hand], _Place] = defaultdict(_Place)
        self._moves: dict[Transition, _Place] = defaultdict(_Place)
        # Years hold some hundred thousand tries, but few that differ: a try that is the same object
        # as one before it is known by that, for hashing its fractions would take most of the time.
        places_of: dict[int, tuple[_Place, ...]] = {}
        for day, repetition in self._played:
            for one in repetition.tries:
                if (places := places_of.get(id(one))) is None:
                    places = places_of[id(one)] = self._places(one)
                for place in places:
                    place.by_day.setdefault(day, []).append(one.failed)

    def _places(self, one: Try) -> tuple[_Place, ...]:
        """What a try tells of: its move, and its bar for each hand."""
        bar = self.score.bar_at(one.onset_quarters).index
        bars = (self._bars[bar, hand] for hand in one.move.hands.members)
        return (self._moves[one.move], *bars)

    @cached_property
    def days(self) -> tuple[DayFigures, ...]:
        """Each day's figures, the earliest first."""
        by_day: dict[Day, list[PlayedOnce]] = defaultdict(list)
        for day, one in self._played:
            by_day[day].append(one)
        return tuple(_figures(day, ones) for day, ones in by_day.items())

    def map_on(self, until: Day | None = None) -> BarMap:
        """Every bar's state for each hand that has notes in it, as it stood when a day was over."""
        written = {(note.bar_index, note.hand) for note in self.score.notes}
        untouched = _Place()
        return {
            place: self._bars.get(place, untouched).state(until)
            for place in sorted(written, key=_order)
        }

    def minutes_by_bar(self, until: Day | None = None) -> dict[int, float]:
        """What was spent on each bar; a longer passage's time is shared by its bars."""
        out: dict[int, float] = defaultdict(float)
        bars_of: dict[PassageKey, range] = {}
        for one, minutes in self._timed(until):
            if one.window not in bars_of:
                window = window_of(one.window)
                first, last = self.score.bars_of(window.start_quarters, window.end_quarters)
                bars_of[one.window] = range(first.index, last.index + 1)
            for bar in bars_of[one.window]:
                out[bar] += minutes / len(bars_of[one.window])
        return out

    def passages(self, until: Day | None = None) -> tuple[PassageFigures, ...]:
        """What was played of each window, that with the most minutes first."""
        out: dict[PassageKey, PassageFigures] = {}
        for one, minutes in self._timed(until):
            if one.window not in out:
                out[one.window] = PassageFigures(window_of(one.window))
            found = out[one.window]
            found.minutes += minutes
            found.repetitions += 1
            found.clean += one.clean
        for key, by_day in self._best_tempi.items():
            if key in out:
                shown = {day: qpm for day, qpm in by_day.items() if until is None or day <= until}
                out[key].best_qpm = shown
        return tuple(sorted(out.values(), key=lambda one: (-one.minutes, -one.repetitions)))

    @cached_property
    def _best_tempi(self) -> dict[PassageKey, dict[Day, float]]:
        out: dict[PassageKey, dict[Day, float]] = defaultdict(dict)
        for day, one in self._played:
            if one.clean and one.qpm is not None:
                out[one.window][day] = max(out[one.window].get(day, 0.0), one.qpm)
        return out

    def spots(self, until: Day | None = None) -> tuple[SpotStory, ...]:
        """The moves that ever failed twice: the weak ones first, then those that failed most."""
        out = []
        for move in self._moves:
            story = self.story(move, until)
            if story.days and story.failed > 1:
                out.append(story)
        return tuple(sorted(out, key=lambda one: (one.state is not BarState.WEAK, -one.failed)))

    def weak(self) -> tuple[SpotStory, ...]:
        """What is weak now, or broke twice when the piece was last played: the worst first, one
        for each hand and bar."""
        last = self.days[-1].day if self.days else 0
        out: dict[tuple[Hands, int], SpotStory] = {}
        stories = [self.story(move) for move in self._moves]
        for one in sorted(stories, key=lambda one: (-one.days[-1].failed, -one.failed)):
            today = one.days[-1]
            broke = today.day == last and today.failed >= BROKE_TIMES
            if one.state is BarState.WEAK or broke:
                bar = self.score.bar_at(one.move.to_quarters).index
                out.setdefault((one.move.hands, bar), one)
        return tuple(out.values())

    def story(self, move: Transition, until: Day | None = None) -> SpotStory:
        """One move's days."""
        place = self._moves.get(move, _Place())
        return SpotStory(
            move,
            tuple(
                DayTries(day, len(tries), sum(tries), place.state(day))
                for day, tries in place.by_day.items()
                if until is None or day <= until
            ),
        )

    def endings(self, until: Day | None = None) -> Endings | None:
        """How passages were found that had been left clean, beside those left before that.

        None where there are too few nights of either kind, or where chance alone would make such a
        difference more often than once in twenty times (Fisher's exact test, two-sided).
        """
        by_window: dict[PassageKey, dict[Day, list[bool]]] = defaultdict(dict)
        for day, one in self._played:
            if until is None or day <= until:
                by_window[one.window].setdefault(day, []).append(one.clean)
        groups = {True: Nights(), False: Nights()}
        for days in by_window.values():
            for before, after in pairwise(days.values()):
                left_clean = len(before) >= LEFT_CLEAN and all(before[-LEFT_CLEAN:])
                was = groups[left_clean]
                until_clean = after.index(True) + 1 if True in after else len(after)
                groups[left_clean] = Nights(
                    was.count + 1, was.first_clean + after[0], was.until_clean + until_clean
                )
        found = Endings(groups[True], groups[False])
        if min(found.left_clean.count, found.left_before.count) < ENOUGH_NIGHTS:
            return None
        return found if chance_of_difference(found) < BEYOND_CHANCE else None

    def _timed(self, until: Day | None) -> Iterable[tuple[PlayedOnce, float]]:
        """Each repetition with the minutes that led to it: none for the first of a day."""
        before: tuple[Day, PlayedOnce] | None = None
        for day, one in self._played:
            if until is not None and day > until:
                return
            same_day = before is not None and before[0] == day
            gap_s = one.at_s - before[1].at_s if before and same_day else 0.0
            yield one, min(gap_s, SITTING_GAP_S) / 60
            before = day, one


def bars_around(score: Score, move: Transition) -> Window:
    """The bars that a move leads through, for its hand."""
    first = score.bar_at(move.from_quarters)
    return Window(first.onset_quarters, score.bar_at(move.to_quarters).end_quarters, move.hands)


def window_of(key: PassageKey) -> Window:
    """The window that a key stands for."""
    start, end, hands = key
    return Window(Fraction(start), Fraction(end), Hands(hands))


def _order(place: tuple[int, Hand]) -> tuple[int, bool]:
    return place[0], place[1] is Hand.LEFT


def chance_of_failing(failed: Sequence[bool]) -> float:
    """The expected chance that the next try fails: tries that fade, and a uniform prior of one try
    each way (a discounted Beta-binomial)."""
    attempts = failures = 0.0
    for one in failed:
        attempts, failures = attempts * FADES + 1, failures * FADES + one
    return (failures + 0.5) / (attempts + 1)


def chance_of_difference(found: Endings) -> float:
    """How often chance alone would make the first tries differ at least so much: Fisher's exact
    test (1922), two-sided, by adding all tables that are no likelier than this one."""
    clean, before = found.left_clean, found.left_before
    every, all_clean = clean.count + before.count, clean.first_clean + before.first_clean

    def ways(here: int) -> int:
        return comb(clean.count, here) * comb(before.count, all_clean - here)

    possible = range(max(0, all_clean - before.count), min(clean.count, all_clean) + 1)
    as_rare = sum(w for w in map(ways, possible) if w <= ways(clean.first_clean))
    return as_rare / comb(every, all_clean)


def _figures(day: Day, ones: Sequence[PlayedOnce]) -> DayFigures:
    firsts: dict[PassageKey, bool] = {}
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
