"""A month of warm-ups under laws of memory that the rule does not know."""

from collections.abc import Callable
from math import log
from random import Random
from statistics import fmean

import pytest

from scripts.simulated_month import DAY_S, LAWS, Law, OldInterval, OneTrace, month


def held_a_minute(law: str, rule: str) -> float:
    found = [month(law, rule, seed, minutes=4.0, bars=30) for seed in range(4)]
    return fmean(held for held, _ in found) / fmean(minutes for _, minutes in found)


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("rule", ["massed", "yesterday's worst"])
def test_more_holds_for_each_minute_than_by_massed_practice_or_yesterday_s_worst(
    law: str, rule: str
) -> None:
    assert held_a_minute(law, "keyhole") >= 1.1 * held_a_minute(law, rule)


@pytest.mark.parametrize("law", LAWS.values())
def test_each_law_forgets_and_keeps_more_by_tries_on_several_days(
    law: Callable[[Random], Law],
) -> None:
    """Four clean tries on one day, and on four: the spacing effect (Cepeda and others 2006,
    Psychological Bulletin 132, 354-380)."""
    massed, spaced = law(Random(1)), law(Random(1))
    for day in range(4):
        massed.play(30.0 * day, clean=True)
        spaced.play(2 * DAY_S * day, clean=True)
    after = [massed.chance(days * DAY_S) for days in (1, 4, 10)]
    assert after == sorted(after, reverse=True)
    assert spaced.chance((6 + 10) * DAY_S) > massed.chance(10 * DAY_S)


@pytest.mark.outside
def test_the_old_rule_s_intervals_are_those_that_were_published() -> None:
    """SM-2 (Wozniak 1990, thesis, chapter 3.2; super-memory.com/english/ol/sm2.htm): its intervals
    for grade 4, and what each grade does to the easiness."""
    item, days = OldInterval(), []
    for _ in range(5):
        item = item.after(4)
        days.append(item.days)
    assert days == [1, 6, 15, 38, 95]
    assert OldInterval(15, 2.5).after(2) == OldInterval(1, 2.5)
    assert [round(OldInterval(1, 2.5).after(q).easiness - 2.5, 2) for q in (3, 4, 5)] == [
        -0.14, 0.0, 0.1
    ]  # fmt: skip


@pytest.mark.outside
def test_the_law_of_one_trace_has_a_half_life() -> None:
    """p = 2^(-t/h) (Settles and Meeder 2016, ACL, 1848-1858)."""
    law = OneTrace(Random(1))
    law.play(0.0, clean=True)
    half_life_s = law.days * log(2) * DAY_S
    chances = [law.chance(times * half_life_s) for times in (0, 1, 2)]
    assert chances == pytest.approx([1.0, 0.5, 0.25])
