"""A month of warm-ups under laws of memory that the rule does not know."""

from collections.abc import Callable
from random import Random
from statistics import fmean

import pytest

from scripts.simulated_month import DAY_S, LAWS, Law, month


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
