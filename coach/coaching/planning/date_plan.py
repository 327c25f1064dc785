"""A plan to a date: which bars are begun on which day, and when each comes again.

How long to wait before something is played again depends on how long it has to last. Over 1350
people, tested after up to a year, kept facts best where the pause was 20 to 40 % of the time to a
test in a week, and 5 to 10 % of that to a test in a year (Cepeda and others 2008, Psychological
Science 19, 1095-1102; facts, not the piano). Between the two the share is drawn as a straight line
on logarithmic axes.

A bar comes on the first morning after it was begun, and then after such pauses, which never grow
shorter again. So it holds on three later days, which is what settled means, wherever there are that
many days left. The last day is for the whole piece.

What is certain not to fit is told with the least that a bar may take. The plan itself goes by what
it takes mostly. Both are our own figures, and rough: the plan is made anew each day, from how the
bars then stand.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import log

from coach.coaching.model import USUAL_CLEAN, Goal, Way
from coach.coaching.planning.plan import NEW_BARS
from coach.coaching.planning.progress import (
    SETTLED_DAYS,
    BarState,
    Day,
    Diary,
)
from coach.coaching.planning.warmup import CLEAN_AGAIN
from coach.coaching.wording import COMES_AGAIN, PLANNED_NEW, PLANNED_WEAK, PLANNED_WHOLE
from coach.score.model import Score
from coach.score.window import Window, whole_piece

WEEK_DAYS, YEAR_DAYS = 7, 365
WEEK_SHARE, YEAR_SHARE = 0.30, 0.075
"""The middle of Cepeda's ranges: pause by time to the test."""
_SLOPE = log(YEAR_SHARE / WEEK_SHARE) / log(YEAR_DAYS / WEEK_DAYS)

BEGIN_MIN = {BarState.UNTOUCHED: 6.0, BarState.WEAK: 2.5}
"""Minutes from a bar's first try to its clean run, mostly. Own choice: some twenty repetitions of
each hand and of both, or as many as mend a place."""
LEAST_MIN = {BarState.UNTOUCHED: 2.0, BarState.WEAK: 1.0}
"""The least: nobody reads a new bar, each hand and both, and plays it clean three times running in
less. Own choice."""
AGAIN_MIN = 0.5
"""Minutes of a bar that comes again: one clean repetition with its neighbours, and one to get
there. Own choice."""
WHOLE_MIN = 0.2
"""Minutes of each bar where the whole piece is played: twice through. Own choice."""
MOST_MIN = 240
"""No plan asks for more minutes a day."""


@dataclass(frozen=True, slots=True)
class DatePlan:
    """Until when a piece is to be learnt."""

    by_day: Day
    """The day of the lesson, exam or concert."""
    minutes: float
    """To practise it, a day."""


@dataclass(frozen=True, slots=True)
class BarStanding:
    """How a bar stands before the plan is made: the hand that stands worse."""

    bar: int
    """Its index."""
    state: BarState
    played_on: Day | None = None


@dataclass(frozen=True, slots=True)
class PlannedDay:
    """What is to be played on one day, bars by their index."""

    day: Day
    begin: tuple[int, ...] = ()
    """New bars, and weak ones to be mended."""
    again: tuple[int, ...] = ()
    is_whole: bool = False
    """The whole piece besides."""
    minutes: float = 0.0


@dataclass(frozen=True, slots=True)
class Schedule:
    """Every day until the date, and what there is no room for."""

    days: tuple[PlannedDay, ...]
    lost: tuple[int, ...] = ()
    """Bars that are certain not to fit, even if each takes the least that it may."""
    late: tuple[int, ...] = ()
    """Bars that mostly would not fit, or are begun too late to hold on three later days."""


def best_gap_days(delay_days: float) -> float:
    """How long to wait before something is played again that has to last so many days."""
    share = WEEK_SHARE * (max(delay_days, 1.0) / WEEK_DAYS) ** _SLOPE
    return float(max(delay_days, 1.0) * share)


def stand_bars(diary: Diary) -> list[BarStanding]:
    """How every bar stands that has notes in it."""
    worst = [BarState.UNTOUCHED, BarState.WEAK, BarState.HOLDING, BarState.SETTLED]
    states: dict[int, BarState] = {}
    for (bar, _), state in diary.map_on().items():
        states[bar] = min(states.get(bar, state), state, key=worst.index)
    return [
        BarStanding(bar, state, diary.last_played(bar)) for bar, state in sorted(states.items())
    ]


def schedule(
    bars: Sequence[BarStanding], plan: DatePlan, today: Day, played_min: float = 0.0
) -> Schedule:
    """The days from today to the date. ``played_min``: how much was practised today already."""
    usual = _Desk(bars, plan, today, played_min, BEGIN_MIN, AGAIN_MIN)
    least = _Desk(bars, plan, today, played_min, LEAST_MIN, 0.0)
    days = usual.lay()
    least.lay()
    lost = least.not_begun
    late = sorted({*usual.not_begun, *usual.begun_late} - {*lost})
    return Schedule(days, tuple(lost), tuple(late))


def minutes_that_fit(bars: Sequence[BarStanding], by_day: Day, today: Day) -> int | None:
    """The fewest minutes a day, in fives, in which all of it fits; None where none do."""
    for minutes in range(5, MOST_MIN + 1, 5):
        found = schedule(bars, DatePlan(by_day, minutes), today)
        if not found.lost and not found.late:
            return minutes
    return None


class _Desk:
    """Lays the days out, one after the other."""

    def __init__(
        self,
        bars: Sequence[BarStanding],
        plan: DatePlan,
        today: Day,
        played_min: float,
        begin_min: Mapping[BarState, float],
        again_min: float,
    ) -> None:
        self._plan, self._today, self._played_min = plan, today, played_min
        self._begin_min, self._again_min, self._whole = begin_min, again_min, len(bars)
        self._to_begin = [bar for bar in bars if bar.state is BarState.WEAK]
        self._to_begin += [bar for bar in bars if bar.state is BarState.UNTOUCHED]
        self._left_min = {bar.bar: begin_min[bar.state] for bar in self._to_begin}
        self._next: dict[int, Day] = {}
        """When each bar comes again."""
        self._gap: dict[int, int] = {}
        self.begun_late: list[int] = []
        for bar in bars:
            if bar.state in (BarState.HOLDING, BarState.SETTLED):
                self._come_again(bar.bar, bar.played_on or today - 1)

    @property
    def not_begun(self) -> list[int]:
        """Bars that no day had room for."""
        return sorted(bar.bar for bar in self._to_begin)

    def lay(self) -> tuple[PlannedDay, ...]:
        """Every day, today's first; the date itself is no day to practise."""
        return tuple(self._lay_day(day) for day in range(self._today, self._plan.by_day))

    def _lay_day(self, day: Day) -> PlannedDay:
        room_min = self._plan.minutes - (self._played_min if day == self._today else 0.0)
        used_min = 0.0
        is_whole = day == self._plan.by_day - 1 and day > self._today
        if is_whole:
            used_min += WHOLE_MIN * self._whole
        again: list[int] = []
        for bar, when in sorted(self._next.items(), key=lambda one: one[1]):
            if when <= day and not is_whole and used_min + self._again_min <= room_min:
                again.append(bar)
                used_min += self._again_min
        begin: list[int] = []
        while self._to_begin and not is_whole and used_min < room_min:
            bar = self._to_begin[0].bar
            spent_min = min(self._left_min[bar], room_min - used_min)
            self._left_min[bar] -= spent_min
            used_min += spent_min
            begin.append(bar)
            if self._left_min[bar] > 0:  # it is gone on with tomorrow
                break
            self._to_begin.pop(0)
            self._come_again(bar, day)
            if self._plan.by_day - day <= SETTLED_DAYS:
                self.begun_late.append(bar)
        for bar in again:
            self._come_again(bar, day)
        return PlannedDay(day, tuple(begin), tuple(sorted(again)), is_whole, used_min)

    def _come_again(self, bar: int, day: Day) -> None:
        """The first morning, then after pauses that fit what is left, and never grow shorter."""
        known = self._gap.get(bar)
        gap = round(best_gap_days(self._plan.by_day - day)) if known is not None else 1
        self._gap[bar] = max(known or 1, gap, 1)
        self._next[bar] = max(day + self._gap[bar], self._today)


def goals_of(score: Score, day: PlannedDay, bars: Sequence[BarStanding]) -> tuple[Goal, ...]:
    """A day as it is played: what comes again, while it is fresh; what is weak; what is new; the
    whole piece. No passage is longer than the bars that are learnt at once."""
    untouched = {bar.bar for bar in bars if bar.state is BarState.UNTOUCHED}

    def goals(some: Iterable[int], way: Way, clean: int, reason: str) -> Iterator[Goal]:
        for low, high in _parts(score, some):
            window = Window(score.bars[low].onset_quarters, score.bars[high].end_quarters)
            qpm = score.tempo_at(window.start_quarters)
            yield Goal(window, qpm, clean_required=clean, way=way, reason=reason)

    new = [bar for bar in day.begin if bar in untouched]
    weak = [bar for bar in day.begin if bar not in untouched]
    whole = whole_piece(score)
    return (
        *goals(day.again, Way.REPAIR, CLEAN_AGAIN, COMES_AGAIN),
        *goals(weak, Way.REPAIR, USUAL_CLEAN, PLANNED_WEAK),
        *goals(new, Way.LEARN, USUAL_CLEAN, PLANNED_NEW),
        *([Goal(whole, score.tempo_at(whole.start_quarters), clean_required=CLEAN_AGAIN,
                reason=PLANNED_WHOLE)] if day.is_whole else []),
    )  # fmt: skip


def _parts(score: Score, bars: Iterable[int]) -> Iterator[tuple[int, int]]:
    """Bars as stretches that are no longer than what is learnt at once; a pickup goes with what it
    leads to, also where that is not asked for: nobody practises it alone."""
    for begin, last in stretches(bars):
        high = min(last + score.bars[last].is_pickup, len(score.bars) - 1)
        while begin <= high:
            end = min(begin + NEW_BARS - (not score.bars[begin].is_pickup), high)
            yield begin, end
            begin = end + 1


def stretches(bars: Iterable[int]) -> list[tuple[int, int]]:
    """Bars as stretches, each by its first and last."""
    out: list[tuple[int, int]] = []
    for bar in sorted(bars):
        if out and out[-1][1] + 1 == bar:
            out[-1] = (out[-1][0], bar)
        else:
            out.append((bar, bar))
    return out
