"""Tempi by the record of a place: how likely a clean one is, and the steps that follow from it."""

import json
from fractions import Fraction as F
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.coaching.model import Kind
from coach.coaching.practice.tempo import (
    CHANCES,
    FIRST_SLOWER,
    FLOOR,
    Climb,
    clean_chance,
    quicker,
    slower,
)

BEAT = F(1)


def climbed(climb, trials_hold=False):
    """All tempi up to the target where every step holds."""
    tempi = [climb.now]
    while not climb.at_target:
        for _ in range(2):
            climb.heard(clean=True)
        if climb.up(BEAT) is Kind.TRIAL:
            climb.heard(clean=trials_hold)
            if trials_hold:
                climb.trial_held()
            else:
                climb.trial_failed()
        tempi.append(climb.now)
    return tempi


def failing(target, *tempi):
    """A climb at the slowest of these tempi, after a failure at each."""
    climb = Climb.of(target=target, now=target)
    for now in tempi:
        climb.now = now
        climb.heard(clean=False)
    return climb


def test_where_the_record_permits_the_tempo_asked_for_is_tried_and_saves_the_climb():
    climb = Climb.of(target=120, now=80)
    for _ in range(3):
        climb.heard(clean=True)
    assert climb.up(BEAT) is Kind.TRIAL
    assert climb.now == 120
    climb.trial_held()
    assert climb.at_target


def test_where_the_record_speaks_against_it_the_next_mark_comes_not_a_trial():
    """Failed at three tempi, then clean twice at a slow one: far from the tempo asked for."""
    climb = failing(90, 63, 54, 46, 39)
    for _ in range(2):
        climb.heard(clean=True)
    assert climb.up(BEAT) is Kind.QUICKEN
    assert climb.now == 40


def test_after_a_trial_that_fails_it_goes_back_to_what_held():
    climb = Climb.of(target=120, now=80)
    climb.up(BEAT)
    climb.heard(clean=False)
    climb.trial_failed()
    assert climb.now <= 80
    assert not climb.on_trial


def test_between_two_trials_lies_half_of_the_way_that_was_left():
    climb, tried_from = Climb.of(target=160, now=80), []
    while not climb.at_target:
        before = climb.now
        if climb.up(BEAT) is Kind.TRIAL:
            tried_from.append(before)
            climb.trial_failed()
    assert len(tried_from) >= 2
    assert all(160 - two <= (160 - one) / 2 for one, two in pairwise(tried_from))


def test_also_after_failures_the_tempo_is_tried_on_the_way_up():
    """Henley (2001), JRME 49, 169-181 (read second-hand): alternating did better than slow only."""
    climb, trials = failing(160, 160), 0
    climb.settle(BEAT)
    while not climb.at_target:
        for _ in range(3):
            climb.heard(clean=True)
        if climb.up(BEAT) is Kind.TRIAL:
            trials += 1
            climb.heard(clean=False)
            climb.trial_failed()
    assert trials


def test_a_place_that_failed_begins_slower_the_slower_the_more_it_failed():
    begun = []
    for failures in range(5):
        climb = failing(120, *[120] * failures)
        climb.now = 120
        climb.settle(BEAT)
        begun.append(climb.now)
    assert begun == sorted(begun, reverse=True)
    assert begun[-1] < 120 * 0.75


@pytest.mark.property
@given(
    st.lists(st.tuples(st.floats(0.5, 1), st.booleans()), max_size=12),
    st.floats(0.5, 1),
    st.floats(0.5, 1),
)
def test_the_chance_of_a_clean_one_falls_with_tempo_and_with_failures(tries, one, other):
    slow, fast = sorted((one, other))
    assert 0 <= clean_chance(tries, fast) <= clean_chance(tries, slow) + 1e-9 <= 1 + 1e-9
    if len(tries) < 12:
        assert clean_chance([(fast, False), *tries], fast) <= clean_chance(tries, fast) + 1e-9


def test_what_was_heard_moves_the_chance_as_bayes_rule_says():
    """By hand: with one failure at tempo, c weighs as c, so a failure has mean sum c2 / sum c."""
    weights = [c * c for c in CHANCES]
    assert clean_chance([(1.0, False)], 1.0) == pytest.approx(1 - sum(weights) / sum(CHANCES))
    assert clean_chance([], 1.0) == pytest.approx(0.5)


def test_slower_is_clearly_slower_and_ends_at_half_the_tempo():
    climb = Climb.of(target=100, now=100)
    climb.down(BEAT)
    assert climb.now <= 90
    for _ in range(9):
        climb.down(BEAT)
    assert climb.at_floor
    assert climb.now == 100 * FLOOR


def test_a_place_is_not_begun_at_half_its_tempo_at_once():
    climb = Climb.of(target=100, now=100)
    climb.tries += [(1.0, False)] * 5
    climb.settle(BEAT)
    assert climb.now == 100 * FIRST_SLOWER
    climb.heard(clean=False)
    climb.down(BEAT)
    assert climb.now < 100 * FIRST_SLOWER


def test_at_one_s_own_pace_there_is_nothing_to_climb():
    climb = Climb.of(target=None, now=None)
    assert climb.at_target
    assert climb.at_floor
    climb.down(BEAT)
    assert climb.now is None


@pytest.mark.property
@given(st.floats(40, 240), st.floats(0.5, 0.98), st.booleans())
def test_it_arrives_at_the_target_exactly_and_never_passes_it(target, share, trials_hold):
    tempi = climbed(Climb.of(target=target, now=target * share), trials_hold)
    assert tempi[-1] == pytest.approx(target)
    assert max(tempi) <= target + 1e-6
    assert all(after >= slower(before, BEAT) for before, after in pairwise(tempi))


@pytest.mark.property
@given(st.floats(40, 240), st.floats(0.5, 0.9))
def test_the_first_step_up_is_one_mark(target, share):
    """Common practice; after the trial, which is no step."""
    climb = Climb.of(target=target, now=target * share)
    if climb.up(BEAT) is Kind.TRIAL:
        climb.trial_failed()
    assert climb.now <= quicker(target * share, BEAT) + 1e-6


@pytest.mark.property
@given(st.floats(40, 240), st.floats(0.5, 0.9))
def test_the_first_step_after_slowing_down_is_one_mark_again(target, share):
    climb = Climb.of(target=target, now=target * share)
    climbed_to = climbed(climb)[-2]
    climb.now = climbed_to
    climb.down(BEAT)
    low = climb.now
    if climb.up(BEAT) is Kind.TRIAL:
        climb.trial_failed()
    assert climb.now <= quicker(low, BEAT) + 1e-6


@pytest.mark.property
@given(st.lists(st.sampled_from(["up", "down", "held", "failed"]), max_size=12))
def test_it_is_taken_up_again_where_it_stood(moves):
    climb = Climb.of(target=120, now=80)
    for move in moves:
        if move == "down":
            climb.down(BEAT)
        elif climb.on_trial:
            climb.heard(clean=move == "held")
            climb.trial_held() if move == "held" else climb.trial_failed()
        elif not climb.at_target:
            climb.up(BEAT)
    assert Climb.from_plain(json.loads(json.dumps(climb.plain()))) == climb
