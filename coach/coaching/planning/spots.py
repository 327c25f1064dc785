"""Weak spots over the days: which there are, how each stands, and which are due today.

A weak spot is the move of one hand that failed on some day. It is followed from then on, day by
day, whatever the pianist plays: a day is folded into what was known before (:func:`follow_day`), so
the record can keep what is known and read only the days since.

Rules
-----
- The first morning after a day on which it failed it is due, unconditionally, also where it was
  mended: a night's sleep lies between, and no law of forgetting is sure of hours.
- After that it is due when its chance of holding has sunk to ``DUE_BELOW`` (``memory.py``), and in
  any case after ``LONGEST_PAUSE_DAYS``; a settled one after half as long again as the longest pause
  that it has held over.
- It is settled once it was clean on three later days (Rawson and Dunlosky 2011, Journal of
  Experimental Psychology: General 140, 283-302: relearn to one correct recall on three later days;
  verbal recall, not the piano). A settled spot comes rarely, to see whether it still holds.
- A day on which it fails opens it again.
- A repetition that fails nearly everywhere tells nothing of one place.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from coach.coaching.model import Observation
from coach.coaching.observations import FAILED
from coach.coaching.planning.memory import Grade, Memory, first_memory
from coach.coaching.planning.progress import SETTLED_DAYS, Day, DayOf
from coach.judging.model import Outcome
from coach.score.window import Transition

SLIP_RATE = 1 / 3
"""A spot that fails in fewer of its tries than this, and only once, was a slip. Our choice."""
MENDED_TRIES = 3
"""A spot is mended whose last so many tries were clean. Our choice: as many as a clean run has."""
WEAK_FAILURES = 2
"""Failures that make a spot weak, however often it was tried. Our choice: one may be a slip."""
PRIOR_FAILED, PRIOR_TRIES = 1, 2
"""A spot counts as tried twice before, and failed once: Laplace's rule of succession (1814), which
is the mean of the posterior of a uniform prior."""
LOST_MOVES, LOST_SHARE = 6, 0.5
"""A repetition of at least so many moves of which more than this share failed was of something
else, or is not known yet: it tells of no one place. Own choice, because a bar that is known fails
in one or two of its moves."""
DUE_BELOW = 0.8
"""Chance of holding at which a spot is due. Own choice, because in a simulated month
(``scripts/simulated_month.py``) more bars hold at its end for each minute than with the nine in ten
that FSRS begins with: what is nearly forgotten gains most by being played."""
LONGEST_PAUSE_DAYS, SETTLED_PAUSE_DAYS = 4, 5
"""A spot that is not settled waits no longer; a settled one not that long at first. Own choice: the
law was fitted to facts, and a pause that was never tried proves nothing. A month's end, where fewer
bars hold by longer ones, says no more than that."""
STRETCH = 1.5
"""A settled spot's pause is at most so many times the longest that it has held over. Own choice, as
above: with twice, and a week at first, two bars in a hundred fewer hold at the month's end."""

NEW = first_memory(Grade.FORGOTTEN, 0.0)
"""What is left of a spot's first day, where that was at the beginning of time."""


@dataclass(frozen=True, slots=True)
class WeakSpot:
    """The move of one hand that failed on some day, and how it stands now."""

    transition: Transition
    failures: int
    tries: int
    """On the day that it failed last."""
    mended: bool
    """The last three tries of that day were clean."""
    qpm: float | None
    """The tempo it was last tried at, in quarters a minute."""
    memory: Memory = NEW
    failed_on: Day = 0
    """The day that it failed last."""
    played_on: Day = 0
    """The day that it was last tried."""
    held_days: int = 0
    """Days since then on which it was clean."""
    weak_days: int = 1
    """Days on which it failed, in all."""
    held_pause_days: int = 0
    """The longest pause that it has held over since it failed last."""

    @property
    def is_settled(self) -> bool:
        """Whether it has held on three later days."""
        return self.held_days >= SETTLED_DAYS

    @property
    def failed_last(self) -> bool:
        """Whether it failed on the very day that it was last tried."""
        return self.failed_on == self.played_on

    @property
    def chance_of_failing(self) -> float:
        """What its tries on the day that it failed last make one expect (uniform prior)."""
        return (self.failures + PRIOR_FAILED) / (self.tries + PRIOR_TRIES)

    def is_due(self, today: Day, now_s: float) -> bool:
        """Whether it should be played now."""
        if self.failed_last:
            return self.played_on < today or not self.mended
        if self.played_on >= today:
            return False
        if today - self.played_on >= self._longest_pause_days:
            return True
        return self.memory.chance(now_s) < DUE_BELOW

    @property
    def _longest_pause_days(self) -> float:
        if not self.is_settled:
            return LONGEST_PAUSE_DAYS
        return max(SETTLED_PAUSE_DAYS, STRETCH * self.held_pause_days)

    def urgency(self, now_s: float) -> tuple[int, float]:
        """Large where it should come early: what failed last, then what is likeliest forgotten."""
        if self.failed_last:
            return (1 if self.mended else 2), self.chance_of_failing
        return (-1 if self.is_settled else 0), 1.0 - self.memory.chance(now_s)


def follow_spots(history: Iterable[Observation], day_of: DayOf) -> tuple[WeakSpot, ...]:
    """All weak spots that a piece ever had, from all that was played of it."""
    days: dict[Day, list[Observation]] = defaultdict(list)
    for one in sorted(history, key=lambda one: one.at_s):
        days[day_of(one.at_s)].append(one)
    spots: Mapping[Transition, WeakSpot] = {}
    for day in sorted(days):
        spots = follow_day(spots, day, days[day])
    return tuple(spots.values())


def follow_day(
    spots: Mapping[Transition, WeakSpot], day: Day, heard: Sequence[Observation]
) -> dict[Transition, WeakSpot]:
    """The spots after one more day, of which all that was played is given in order."""
    tries: dict[Transition, list[Observation]] = defaultdict(list)
    for one in _leave_out_the_lost(heard):
        tries[one.transition].append(one)
    after = dict(spots)
    for transition, seen in tries.items():
        known = spots.get(transition)
        if known is not None:
            after[transition] = _after_day(known, day, seen)
        elif _is_weak(seen):
            memory = first_memory(Grade.FORGOTTEN, seen[-1].at_s)
            after[transition] = _failed(transition, day, seen, memory, 1)
    return after


def _leave_out_the_lost(heard: Sequence[Observation]) -> Iterable[Observation]:
    """What tells of single places: without the repetitions that failed nearly everywhere.

    All observations of one repetition have the same time.
    """
    repetitions: dict[float, list[Observation]] = defaultdict(list)
    for one in heard:
        if one.outcome is not Outcome.NOT_REACHED:
            repetitions[one.at_s].append(one)
    for moves in repetitions.values():
        failed = sum(one.outcome in FAILED for one in moves)
        if len(moves) < LOST_MOVES or failed <= LOST_SHARE * len(moves):
            yield from moves


def _after_day(known: WeakSpot, day: Day, seen: Sequence[Observation]) -> WeakSpot:
    failures = sum(one.outcome in FAILED for one in seen)
    weak = _is_weak(seen) or seen[0].outcome in FAILED
    grade = Grade.FORGOTTEN if weak else Grade.HARD if failures else Grade.GOOD
    memory = known.memory.after(grade, seen[0].at_s, seen[-1].at_s)
    if weak:
        return _failed(known.transition, day, seen, memory, known.weak_days + 1)
    return WeakSpot(
        known.transition,
        known.failures,
        known.tries,
        known.mended,
        _last_qpm(seen) or known.qpm,
        memory,
        known.failed_on,
        day,
        known.held_days + (failures == 0),
        known.weak_days,
        max(known.held_pause_days, day - known.played_on),
    )


def _failed(
    transition: Transition, day: Day, seen: Sequence[Observation], memory: Memory, weak_days: int
) -> WeakSpot:
    failed = [one.outcome in FAILED for one in seen]
    mended = len(failed) >= MENDED_TRIES and not any(failed[-MENDED_TRIES:])
    qpm = _last_qpm(seen)
    return WeakSpot(
        transition, sum(failed), len(failed), mended, qpm, memory, day, day, 0, weak_days
    )


def _is_weak(seen: Sequence[Observation]) -> bool:
    failures = sum(one.outcome in FAILED for one in seen)
    return failures >= WEAK_FAILURES or (failures == 1 and failures / len(seen) >= SLIP_RATE)


def _last_qpm(seen: Sequence[Observation]) -> float | None:
    tempos = [one.qpm for one in seen if one.qpm is not None]
    return tempos[-1] if tempos else None


def list_due(spots: Iterable[WeakSpot], today: Day, now_s: float) -> tuple[WeakSpot, ...]:
    """The spots that are due, the worst first."""
    due = [spot for spot in spots if spot.is_due(today, now_s)]
    return tuple(due[at] for at in sort_by_urgency(due, now_s))


def sort_by_urgency(spots: Sequence[WeakSpot], now_s: float) -> list[int]:
    """The places of the spots, the worst first; as they lie in the music where that decides."""

    def rank(at: int) -> tuple[int, float, Fraction]:
        group, chance = spots[at].urgency(now_s)
        return -group, -chance, spots[at].transition.to_quarters

    return sorted(range(len(spots)), key=rank)
