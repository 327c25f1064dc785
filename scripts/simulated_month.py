"""A month of warm-ups by four rules, for pianists whose memory follows laws that no rule knows.

    python -m scripts.simulated_month [--seed 1] [--pianists 40] [--minutes 4] [--bars 60]

Each day a pianist learns a few new bars, and has some minutes for older ones. A rule says which, in
which order; the same dice, bars and minutes for all. On the morning after day 30 it is asked what
share of the bars would hold. INVENTED: the pianists are made of arithmetic. Their memory follows
one of three laws, each with constants drawn for every pianist and bar:

- **one trace** (exponential forgetting; each success makes it last longer, most where it was nearly
  gone; after Wozniak and others 1995, Acta Neurobiologiae Experimentalis 55, 301-305);
- **many traces** (each try leaves one that decays as a power of time, the faster the more was left
  when it was made; Pavlik and Anderson 2005, Cognitive Science 29, 559-586, with their constants);
- **two stores** (a fast one gone by the next day, and a slow one that a night fills from it, once a
  night, however often it was played; a sketch of what sleep does to a melody).

The rules: **keyhole**, the one of the warm-up (``coaching/planning/spots.py``), which ends early
where nothing is due; **massed**, the newest bars over and over; **every N days**, each bar when so
many days have passed, the longest waiting first, which ends early too; **yesterday's worst**, what
failed yesterday, the worst first, and then what lies longer back. The second and the last fill the
minutes. **SM-2** is the old rule of that name (Wozniak 1990, thesis, chapter 3.2), a clean first
try being its grade 4 and a failed one its grade 2.

The last rules are no rivals but a bound: **known below P** knows every bar's true chance, plays
what is below P, and what is likeliest to hold first, since that is what the minutes do most for. No
scheduler can know that; where even this is no better than the best interval, none can be that only
asks how likely each bar is to hold.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import partial
from itertools import cycle
from math import ceil, exp, log
from random import Random
from statistics import fmean
from typing import Protocol

from coach.coaching.model import Observation
from coach.coaching.planning import WeakSpot, follow_day, list_due
from coach.judging.model import Outcome
from coach.score.model import Hands
from coach.score.window import Transition

DAYS = 30
DAY_S, MORNING_S, EVENING_S = 86_400.0, 8 * 3600.0, 18 * 3600.0
TRY_S = 7.0
"""One repetition of a bar, with the pause after it."""
NEW_TRIES = 6
"""A new bar is tried at most so often on its first day; it is not counted as warm-up."""
MOST_TRIES = 3
RELEARNS = 0.7
"""Chance that a try right after one that failed is clean, and what a new bar begins with."""


class Law(Protocol):
    """How one bar is remembered."""

    def chance(self, at_s: float) -> float:
        """The chance that it holds."""

    def play(self, at_s: float, *, clean: bool) -> None:
        """It was tried."""


class OneTrace:
    """Exponential forgetting."""

    def __init__(self, dice: Random) -> None:
        self.first_days = exp(dice.gauss(log(4.0), 0.5))
        self.growth, self.lapse = dice.uniform(2.0, 6.0), dice.uniform(0.3, 0.7)
        self.days, self.at_s = self.first_days, float("-inf")

    def chance(self, at_s: float) -> float:
        return exp(-max(at_s - self.at_s, 0.0) / DAY_S / self.days)

    def play(self, at_s: float, *, clean: bool) -> None:
        if self.at_s > float("-inf"):
            if clean:
                self.days *= 1 + self.growth * (1 - self.chance(at_s))
            elif at_s - self.at_s > DAY_S / 4:
                self.days = max(self.days * self.lapse, self.first_days)
        self.at_s = at_s if clean or self.at_s == float("-inf") else self.at_s


class ManyTraces:
    """Activation of traces that decay as powers of time."""

    def __init__(self, dice: Random) -> None:
        self.scale, self.least = 0.217 * dice.uniform(0.7, 1.3), 0.177 * dice.uniform(0.7, 1.3)
        self.threshold = -0.704 + dice.gauss(0.0, 0.3)
        self.noise = 0.255 * dice.uniform(0.7, 1.3)
        self.slow = 0.025 * dice.uniform(0.7, 1.3)
        """Time between sessions counts so much less than within one."""
        self.traces: list[tuple[float, float]] = []

    def _activation(self, at_s: float) -> float:
        total = 0.0
        for made_s, decay in self.traces:
            passed_s = max(at_s - made_s, 1.0)
            within_s = min(passed_s, 3600.0)
            total += (within_s + self.slow * (passed_s - within_s)) ** -decay
        return log(total) if total else float("-inf")

    def chance(self, at_s: float) -> float:
        lack = (self.threshold - self._activation(at_s)) / self.noise
        return 1 / (1 + exp(min(lack, 500.0)))

    def play(self, at_s: float, *, clean: bool) -> None:
        activation = self._activation(at_s)
        weight = 1.0 if clean else 0.5
        self.traces.append((at_s, self.scale * exp(min(activation, 2.0)) / weight + self.least))


class TwoStores:
    """A fast store, and a slow one that a night fills from it."""

    def __init__(self, dice: Random) -> None:
        self.fast_days, self.gain = dice.uniform(0.15, 0.5), dice.uniform(0.35, 0.7)
        self.half_days, self.firmer = dice.uniform(4.0, 10.0), dice.uniform(0.5, 1.0)
        self.slow, self.nights, self.day, self.at_s = 0.0, 0, -1, float("-inf")
        self.is_fresh = False

    def _sleep(self, at_s: float) -> None:
        today = int(at_s // DAY_S)
        if self.day < 0:
            self.day = today
        while self.day < today:
            if self.is_fresh:
                self.slow += self.gain * (1 - self.slow)
                self.nights += 1
                self.is_fresh = False
            self.slow *= 0.5 ** (1 / (self.half_days * (1 + self.firmer * self.nights)))
            self.day += 1

    def chance(self, at_s: float) -> float:
        self._sleep(at_s)
        fast = exp(-max(at_s - self.at_s, 0.0) / DAY_S / self.fast_days)
        return 1 - (1 - fast) * (1 - self.slow)

    def play(self, at_s: float, *, clean: bool) -> None:
        self._sleep(at_s)
        if clean:
            self.at_s, self.is_fresh = at_s, True


LAWS: dict[str, Callable[[Random], Law]] = {
    "one trace": OneTrace,
    "many traces": ManyTraces,
    "two stores": TwoStores,
}


@dataclass
class Desk:
    """A pianist's month under one rule."""

    laws: Sequence[Law]
    dice: Random
    heard: list[Observation] = field(default_factory=list)
    """Today's."""
    played_s: float = 0.0
    """Warm-up, in all."""
    last_day: dict[int, int] = field(default_factory=dict)
    failures: dict[int, int] = field(default_factory=dict)
    """On the day that each was last played."""

    def visit(self, bar: int, at_s: float, most: int = MOST_TRIES) -> float:
        """Play a bar until it is clean once, at most so often; when that is over."""
        day = int(at_s // DAY_S)
        if self.last_day.get(bar) != day:
            self.failures[bar] = 0
        self.last_day[bar] = day
        move = Transition(Hands.RIGHT, Fraction(4 * bar), Fraction(4 * bar + 1))
        for n in range(most):
            chance = self.laws[bar].chance(at_s)
            clean = self.dice.random() < (max(chance, RELEARNS) if n else chance)
            self.laws[bar].play(at_s, clean=clean)
            outcome = Outcome.CLEAN if clean else Outcome.WRONG
            self.heard.append(Observation(at_s, move, move.to_quarters, Hands.RIGHT, outcome, 80.0))
            self.failures[bar] += not clean
            at_s += TRY_S
            if clean:
                break
        return at_s


Rule = Callable[[Desk, int, Sequence[int]], Iterator[int]]
"""Which bars are played on a day, of those that are known; in order."""


class Keyhole:
    """The rule of the warm-up."""

    def __init__(self) -> None:
        self._spots: dict[Transition, WeakSpot] = {}

    def __call__(self, desk: Desk, day: int, known: Sequence[int]) -> Iterator[int]:
        self._spots = follow_day(self._spots, day - 1, desk.heard)
        desk.heard.clear()
        for spot in list_due(self._spots.values(), day, day * DAY_S + MORNING_S):
            yield int(spot.transition.from_quarters) // 4


def massed(desk: Desk, day: int, known: Sequence[int]) -> Iterator[int]:
    newest = [bar for bar in known if desk.last_day[bar] == day - 1] or known[-3:]
    return cycle(newest) if newest else iter(())


def every(days: int) -> Rule:
    def rule(desk: Desk, day: int, known: Sequence[int]) -> Iterator[int]:
        due = [bar for bar in known if day - desk.last_day[bar] >= days]
        yield from sorted(due, key=lambda bar: desk.last_day[bar])

    return rule


def worst_first(desk: Desk, day: int, known: Sequence[int]) -> Iterator[int]:
    def rank(bar: int) -> tuple[int, int]:
        return day - desk.last_day[bar], -desk.failures[bar]

    yield from sorted(known, key=rank)


@dataclass
class OldInterval:
    """One item of SM-2: its interval in days, and its easiness."""

    days: int = 0
    easiness: float = 2.5

    def after(self, grade: int) -> OldInterval:
        """Once it was tried: five is perfect, below three it begins again as easy as before."""
        if grade < 3:
            return OldInterval(1, self.easiness)
        change = 0.1 - (5 - grade) * (0.08 + (5 - grade) * 0.02)
        easiness = max(1.3, self.easiness + change)
        days = {0: 1, 1: 6}.get(self.days) or ceil(self.days * self.easiness)
        return OldInterval(days, easiness)


class OldRule:
    """SM-2."""

    def __init__(self) -> None:
        self._items: dict[int, OldInterval] = {}

    def __call__(self, desk: Desk, day: int, known: Sequence[int]) -> Iterator[int]:
        for bar in known:
            if desk.last_day[bar] == day - 1:  # tried yesterday, for the first time or again
                item = self._items.get(bar, OldInterval())
                grade = 2 if bar in self._items and desk.failures[bar] else 4
                self._items[bar] = item.after(grade)
        due = [bar for bar in known if day - desk.last_day[bar] >= self._items[bar].days]
        yield from sorted(due, key=lambda bar: desk.last_day[bar])


def known_below(least: float) -> Rule:
    def rule(desk: Desk, day: int, known: Sequence[int]) -> Iterator[int]:
        at_s = day * DAY_S + MORNING_S
        chances = {bar: desk.laws[bar].chance(at_s) for bar in known}
        due = [bar for bar in known if chances[bar] < least]
        yield from sorted(due, key=lambda bar: -chances[bar])

    return rule


INTERVALS = (1, 2, 3, 4, 5, 7, 10)
THRESHOLDS = (0.95, 0.9, 0.8, 0.7, 0.6, 0.5)
RULES: dict[str, Callable[[], Rule]] = {
    "keyhole": Keyhole,
    "massed": lambda: massed,
    "yesterday's worst": lambda: worst_first,
    "SM-2": OldRule,
    **{f"every {days} days": partial(every, days) for days in INTERVALS},
    **{f"known below {least}": partial(known_below, least) for least in THRESHOLDS},
}


def month(law: str, rule: str, seed: int, minutes: float, bars: int) -> tuple[float, float]:
    """One pianist: the share of bars that hold at the end, and the minutes of warm-up."""
    nature = Random(f"{law} {seed}")
    desk = Desk([LAWS[law](nature) for _ in range(bars)], Random(f"play {law} {seed}"))
    choose, known = RULES[rule](), list[int]()
    new_a_day = -(-bars // (2 * DAYS // 3))
    for day in range(1, DAYS + 1):
        at_s = day * DAY_S + MORNING_S
        end_s = at_s + 60 * minutes
        for bar in choose(desk, day, known):
            if at_s + TRY_S > end_s:
                break
            begun_s, at_s = at_s, desk.visit(bar, at_s)
            desk.played_s += at_s - begun_s
        at_s = day * DAY_S + EVENING_S
        for bar in range(len(known), min(len(known) + new_a_day, bars)):
            at_s = desk.visit(bar, at_s, NEW_TRIES)
            known.append(bar)
    test_s = (DAYS + 1) * DAY_S + MORNING_S
    return sum(one.chance(test_s) for one in desk.laws) / bars, desk.played_s / 60


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--pianists", type=int, default=40)
    parser.add_argument("--minutes", type=float, default=4.0)
    parser.add_argument("--bars", type=int, default=60)
    options = parser.parse_args()
    print(f"{'':20}" + "".join(f"{law:>26}" for law in LAWS))
    print(f"{'':20}" + f"{'held    min  held/h':>26}" * len(LAWS))
    found: dict[tuple[str, str], tuple[float, float]] = {}
    for rule in RULES:
        for law in LAWS:
            each = [
                month(law, rule, 1000 * options.seed + n, options.minutes, options.bars)
                for n in range(options.pianists)
            ]
            held, minutes = (fmean(column) for column in zip(*each, strict=True))
            found[law, rule] = held, minutes
        cells = (found[law, rule] for law in LAWS)
        print(
            f"{rule:20}"
            + "".join(f"{100 * h:>10.1f}%{m:>7.0f}{60 * h / m:>8.3f}" for h, m in cells)
        )
    for law in LAWS:
        print(f"{law}: {compare(law, found)}")


def compare(law: str, found: Mapping[tuple[str, str], tuple[float, float]]) -> str:
    """Keyhole beside the others, by what holds per minute.

    Of the fixed intervals that one is taken which holds as many bars with the fewest minutes: one
    that holds fewer is always cheaper, and a month of nothing the cheapest. Nobody can know it
    before. Where none holds as many, the one that holds most.
    """
    ours, ours_min = found[law, "keyhole"]
    fixed = [found[law, f"every {days} days"] for days in INTERVALS]

    def over_fixed(one: tuple[float, float]) -> float:
        as_good = [other for other in fixed if other[0] >= one[0]]
        held, minutes = min(as_good, key=lambda one: one[1]) if as_good else max(fixed)
        return one[0] / one[1] / (held / minutes)

    worth = [
        f"{ours / ours_min / (held / minutes):.2f} times {name}"
        for name in ("massed", "yesterday's worst", "SM-2")
        for held, minutes in (found[law, name],)
    ]
    bound = max(over_fixed(found[law, f"known below {least}"]) for least in THRESHOLDS)
    return (
        f"{', '.join(worth)}, {over_fixed((ours, ours_min)):.2f} times the best fixed interval "
        f"(who knows every chance: {bound:.2f} at best)"
    )


if __name__ == "__main__":
    main()
