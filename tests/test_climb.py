"""Up to the tempo asked for: single marks at first, a trial now and then, never up after a slip."""

from fractions import Fraction as F
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.coaching.climb import FLOOR, Climb
from coach.coaching.facts import Kind
from coach.coaching.metronome import quicker, slower

BEAT = F(1)


def climbed(climb, trials_hold=False):
    """All tempi up to the target where every run is full; a trial that fails in brackets."""
    tempi = [climb.now]
    while not climb.at_target:
        if climb.up(BEAT) is Kind.TRIAL:
            if trials_hold:
                climb.trial_held()
            else:
                climb.trial_failed(BEAT)
        tempi.append(climb.now)
    return tempi


def test_the_tempo_asked_for_is_tried_first_and_a_trial_that_holds_saves_the_climb():
    climb = Climb(target=120, now=80)
    assert climb.up(BEAT) is Kind.TRIAL
    assert climb.now == 120
    climb.trial_held()
    assert climb.at_target


def test_after_a_trial_that_fails_it_goes_on_one_mark_above_what_held():
    climb = Climb(target=120, now=80)
    climb.up(BEAT)
    assert climb.trial_failed(BEAT) is Kind.SLOWER
    assert climb.now == 84
    assert not climb.on_trial


def test_slow_and_at_tempo_alternate():
    """Henley (2001), JRME 49, 169-181 (read second-hand): alternating did better than slow only."""
    climb, kinds = Climb(target=160, now=80), []
    while not climb.at_target:
        kinds.append(climb.up(BEAT))
        if kinds[-1] is Kind.TRIAL:
            climb.trial_failed(BEAT)
    assert kinds.count(Kind.TRIAL) >= 2
    assert all(Kind.TRIAL in three for three in zip(kinds, kinds[1:], kinds[2:], strict=False))


def test_slower_is_clearly_slower_and_ends_at_half_the_tempo():
    climb = Climb(target=100, now=100)
    climb.down(BEAT)
    assert climb.now <= 90
    for _ in range(9):
        climb.down(BEAT)
    assert climb.at_floor
    assert climb.now == 100 * FLOOR


def test_at_one_s_own_pace_there_is_nothing_to_climb():
    climb = Climb(target=None, now=None)
    assert climb.at_target
    assert climb.at_floor
    climb.down(BEAT)
    assert climb.now is None


@pytest.mark.property
@given(st.floats(40, 240), st.floats(0.5, 0.98), st.booleans())
def test_it_arrives_at_the_target_exactly_and_never_passes_it(target, share, trials_hold):
    tempi = climbed(Climb(target=target, now=target * share), trials_hold)
    assert tempi[-1] == pytest.approx(target)
    assert max(tempi) <= target + 1e-6
    assert all(after >= slower(before, BEAT) for before, after in pairwise(tempi))


@pytest.mark.property
@given(st.floats(40, 240), st.floats(0.5, 0.9))
def test_the_first_step_up_is_one_mark(target, share):
    """Common practice; after the trial, which is no step."""
    climb = Climb(target=target, now=target * share)
    climb.up(BEAT)
    climb.trial_failed(BEAT)
    assert climb.now <= quicker(target * share, BEAT) + 1e-6


@pytest.mark.property
@given(st.floats(40, 240), st.floats(0.5, 0.9))
def test_the_first_step_after_slowing_down_is_one_mark_again(target, share):
    climb = Climb(target=target, now=target * share)
    climbed_to = climbed(climb)[-2]
    climb.now = climbed_to
    climb.down(BEAT)
    low = climb.now
    climb.up(BEAT)
    climb.trial_failed(BEAT)
    assert climb.now <= quicker(low, BEAT) + 1e-6


@pytest.mark.property
@given(st.lists(st.sampled_from(["up", "down", "held", "failed"]), max_size=12))
def test_it_is_taken_up_again_where_it_stood(moves):
    climb = Climb(target=120, now=80)
    for move in moves:
        if move == "down":
            climb.down(BEAT)
        elif climb.on_trial:
            climb.trial_held() if move == "held" else climb.trial_failed(BEAT)
        elif not climb.at_target:
            climb.up(BEAT)
    assert Climb(**climb.plain()) == climb
