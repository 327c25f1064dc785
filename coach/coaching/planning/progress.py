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

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from functools import cached_property
from itertools import groupby, pairwise
from math import comb
from typing import NamedTuple, TypeVar

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


BarPlace = tuple[int, Hand]
"""A bar's index, and a hand."""
BarMap = Mapping[BarPlace, BarState]
"""A hand that has nothing in a bar is left out."""
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


class PlaceDay(NamedTuple):
    """One day's tries of one hand at one place."""

    tries: int
    failed: int
    last: str
    """The last of them, in order: ``x`` failed, ``.`` did not."""


class PassageDay(NamedTuple):
    """One day's repetitions of one window."""

    minutes: float
    repetitions: int
    clean: int
    best_qpm: float | None
    """The quickest clean one."""
    first_clean: bool
    until_clean: int
    """Repetitions up to and with the first clean one; all of them where none was."""
    left_clean: bool
    """Whether its last ones were a clean run."""


@dataclass(frozen=True, slots=True)
class DiaryDay:
    """All that the diary knows of one day: so much can be kept, and years of it read at once."""

    figures: DayFigures
    passages: tuple[tuple[PassageKey, PassageDay], ...]
    bars: tuple[tuple[BarPlace, PlaceDay], ...]
    moves: tuple[tuple[Transition, PlaceDay], ...]

    @property
    def day(self) -> Day:
        """Which one."""
        return self.figures.day


def fold_days(score: Score, played: Iterable[PlayedOnce], day_of: DayOf) -> tuple[DiaryDay, ...]:
    """Repetitions in order of time, day by day, the earliest first."""
    bars_of: dict[Fraction, int] = {}
    days = groupby(sorted(played, key=lambda one: one.at_s), lambda one: day_of(one.at_s))
    return tuple(_fold_day(score, day, list(ones), bars_of) for day, ones in days)


def _fold_day(
    score: Score, day: Day, ones: Sequence[PlayedOnce], bars_of: dict[Fraction, int]
) -> DiaryDay:
    by_move: dict[Transition, list[bool]] = defaultdict(list)
    by_bar: dict[BarPlace, list[bool]] = defaultdict(list)
    # Few tries of a day differ, and those that are alike are mostly the same object: a try is known
    # again by that, for hashing its fractions would take most of the time.
    lists_of: dict[int, tuple[list[bool], ...]] = {}
    for repetition in ones:
        for one in repetition.tries:
            if (lists := lists_of.get(id(one))) is None:
                at = one.onset_quarters
                if at not in bars_of:
                    bars_of[at] = score.bar_at(at).index
                bars = (by_bar[bars_of[at], hand] for hand in one.move.hands.members)
                lists = lists_of[id(one)] = (by_move[one.move], *bars)
            for tries in lists:
                tries.append(one.failed)
    by_window: dict[PassageKey, list[tuple[PlayedOnce, float]]] = defaultdict(list)
    minutes = [0.0, *(min(b.at_s - a.at_s, SITTING_GAP_S) / 60 for a, b in pairwise(ones))]
    for repetition, spent in zip(ones, minutes, strict=True):
        by_window[repetition.window].append((repetition, spent))
    passages = {window: _fold_passage(of_it) for window, of_it in by_window.items()}
    figures = DayFigures(
        day,
        sum(minutes),
        len(ones),
        sum(one.clean for one in ones),
        len(passages),
        sum(one.first_clean for one in passages.values()),
    )
    return DiaryDay(
        figures,
        tuple(passages.items()),
        tuple((place, _fold_tries(tries)) for place, tries in by_bar.items()),
        tuple((move, _fold_tries(tries)) for move, tries in by_move.items()),
    )


def _fold_passage(ones: Sequence[tuple[PlayedOnce, float]]) -> PassageDay:
    clean = [one.clean for one, _ in ones]
    tempi = [one.qpm for one, _ in ones if one.clean and one.qpm is not None]
    return PassageDay(
        sum(minutes for _, minutes in ones),
        len(ones),
        sum(clean),
        max(tempi, default=None),
        clean[0],
        clean.index(True) + 1 if True in clean else len(clean),
        len(clean) >= LEFT_CLEAN and all(clean[-LEFT_CLEAN:]),
    )


def _fold_tries(failed: Sequence[bool]) -> PlaceDay:
    last = "".join("x" if one else "." for one in failed[-LOOKED_AT:])
    return PlaceDay(len(failed), sum(failed), last)


def _state(days: Sequence[tuple[Day, PlaceDay]]) -> BarState:
    """How a place stands when the last of these days is over."""
    if not days:
        return BarState.UNTOUCHED
    return _state_after(_last_tries(days), sum(not one.failed for _, one in days[1:]))


def _last_tries(days: Sequence[tuple[Day, PlaceDay]]) -> str:
    last = ""
    for _, one in reversed(days):
        last = one.last + last
        if len(last) >= LOOKED_AT:
            break
    return last


def _states(days: Sequence[tuple[Day, PlaceDay]]) -> Iterator[BarState]:
    """How a place stood when each of these days was over."""
    last, clean_days = "", 0
    for at, (_, one) in enumerate(days):
        last = (last + one.last)[-LOOKED_AT:]
        clean_days += at > 0 and not one.failed
        yield _state_after(last, clean_days)


def _state_after(last: str, clean_days: int) -> BarState:
    if _is_weak(last):
        return BarState.WEAK
    return BarState.SETTLED if clean_days >= SETTLED_DAYS else BarState.HOLDING


def _is_weak(last: str) -> bool:
    return chance_of_failing([one == "x" for one in last[-LOOKED_AT:]]) > WEAK_FROM


_PlaceDays = list[tuple[Day, PlaceDay]]
_Place = TypeVar("_Place")


def _by_place(
    days: Iterable[tuple[Day, Iterable[tuple[_Place, PlaceDay]]]],
) -> dict[_Place, _PlaceDays]:
    """Each place's days. Years name the same few objects over and over: they are known again by
    that, as the tries are."""
    out: dict[_Place, _PlaceDays] = {}
    known: dict[int, _PlaceDays] = {}
    for day, tried in days:
        for place, tries in tried:
            if (found := known.get(id(place))) is None:
                found = known[id(place)] = out.setdefault(place, [])
            found.append((day, tries))
    return out


class Diary:
    """The practice of one piece, looked at as it stood at the end of any day."""

    def __init__(self, score: Score, days: Iterable[DiaryDay]) -> None:
        """``days`` in their order."""
        self.score = score
        self._days = tuple(days)
        self._bars = _by_place((one.day, one.bars) for one in self._days)
        self._moves = _by_place((one.day, one.moves) for one in self._days)

    @cached_property
    def days(self) -> tuple[DayFigures, ...]:
        """Each day's figures, the earliest first."""
        return tuple(one.figures for one in self._days)

    def last_played(self, bar: int) -> Day | None:
        """The last day on which either hand played in a bar."""
        days = [self._bars[bar, hand][-1][0] for hand in Hand if (bar, hand) in self._bars]
        return max(days, default=None)

    def map_on(self, until: Day | None = None) -> BarMap:
        """Every bar's state for each hand that has notes in it, as it stood when a day was over.

        Where a move into it is a weak spot the bar is weak, however often the rest of it was clean
        since. Where nothing of it was played but the landing of the bar before, it is untouched.
        """
        written = {(note.bar_index, note.hand) for note in self.score.notes}
        weak, entered = frozenset(self._weak_bars(until)), self._bars_entered(until)

        def state_of(place: BarPlace) -> BarState:
            if place in weak:
                return BarState.WEAK
            days = self._bars.get(place, []) if place in entered else []
            return _state(_until(days, until))

        return {place: state_of(place) for place in sorted(written, key=_order)}

    def _bars_entered(self, until: Day | None) -> set[BarPlace]:
        """The bars, by hand, of which a window that was played holds more than its landing."""
        windows = {key for day in self._until(until) for key, _ in day.passages}
        out: set[BarPlace] = set()
        for window in map(window_of, windows):
            hands = window.hands.members
            out.update((bar, hand) for bar in self._bars_in(window) for hand in hands)
        return out

    def _bars_in(self, window: Window) -> range:
        """The indexes of a window's bars, without its landing's."""
        first, last = self.score.bars_of(window.start_quarters, window.end_quarters)
        return range(first.index, last.index + 1)

    def _weak_bars(self, until: Day | None) -> Iterator[BarPlace]:
        for move, every in self._moves.items():
            days = _until(every, until)
            last = _last_tries(days)
            if "x" in last and _is_weak(last) and _failed(days) > 1:
                bar = self.score.bar_at(move.to_quarters).index
                yield from ((bar, hand) for hand in move.hands.members)

    def minutes_by_bar(self, until: Day | None = None) -> dict[int, float]:
        """What was spent on each bar; a longer passage's time is shared by its bars."""
        out: dict[int, float] = defaultdict(float)
        for one in self._passages(until).values():
            window = one.window
            bars = self._bars_in(window)
            for bar in bars:
                out[bar] += one.minutes / len(bars)
        return out

    def passages(self, until: Day | None = None) -> tuple[PassageFigures, ...]:
        """What was played of each window, that with the most minutes first."""
        found = self._passages(until).values()
        return tuple(sorted(found, key=lambda one: (-one.minutes, -one.repetitions)))

    def _passages(self, until: Day | None) -> dict[PassageKey, PassageFigures]:
        out: dict[PassageKey, PassageFigures] = {}
        for day in self._until(until):
            for key, one in day.passages:
                if (found := out.get(key)) is None:
                    found = out[key] = PassageFigures(window_of(key))
                found.minutes += one.minutes
                found.repetitions += one.repetitions
                found.clean += one.clean
                if one.best_qpm is not None:
                    found.best_qpm[day.day] = one.best_qpm
        return out

    def _until(self, until: Day | None) -> Iterator[DiaryDay]:
        return (one for one in self._days if until is None or one.day <= until)

    def spots(self, until: Day | None = None) -> tuple[SpotStory, ...]:
        """The moves that ever failed twice: the weak ones first, then those that failed most."""
        out = [
            self.story(move, until)
            for move, days in self._moves.items()
            if _failed(_until(days, until)) > 1
        ]
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
        days = _until(self._moves.get(move, []), until)
        return SpotStory(
            move,
            tuple(
                DayTries(day, one.tries, one.failed, state)
                for (day, one), state in zip(days, _states(days), strict=True)
            ),
        )

    def endings(self, until: Day | None = None) -> Endings | None:
        """How passages were found that had been left clean, beside those left before that.

        None where there are too few nights of either kind, or where chance alone would make such a
        difference more often than once in twenty times (Fisher's exact test, two-sided).
        """
        by_window: dict[PassageKey, list[PassageDay]] = defaultdict(list)
        for day in self._until(until):
            for key, one in day.passages:
                by_window[key].append(one)
        groups = {True: Nights(), False: Nights()}
        for days in by_window.values():
            for before, after in pairwise(days):
                was = groups[before.left_clean]
                groups[before.left_clean] = Nights(
                    was.count + 1,
                    was.first_clean + after.first_clean,
                    was.until_clean + after.until_clean,
                )
        found = Endings(groups[True], groups[False])
        if min(found.left_clean.count, found.left_before.count) < ENOUGH_NIGHTS:
            return None
        return found if chance_of_difference(found) < BEYOND_CHANCE else None


def _until(days: _PlaceDays, until: Day | None) -> _PlaceDays:
    if until is None:
        return days
    return days[: bisect_right(days, until, key=lambda one: one[0])]


def _failed(days: _PlaceDays) -> int:
    return sum(one.failed for _, one in days)


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
