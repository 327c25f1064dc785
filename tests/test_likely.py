"""Tempi by the record of a place: how likely a clean one is, and the steps that follow from it."""

import json
from fractions import Fraction as F
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.coaching.model import AssignmentKind
from coach.coaching.practice.tempo import (
    CHANCES,
    HALF_A_MARK,
    SHARE_DIGITS,
    TRIES_KEPT,
    TempoLadder,
    clean_chance,
    quicker,
    slower,
)

BEAT = F(1)


def now(tempo: TempoLadder) -> float:
    """Where it stands."""
    assert tempo.now_qpm is not None
    return tempo.now_qpm


def climbed(tempo: TempoLadder, trials_hold: bool = False) -> list[float]:
    """All tempi up to the target where every step holds."""
    tempi = [now(tempo)]
    while not tempo.at_target:
        for _ in range(2):
            tempo.count_repetition(clean=True)
        if tempo.raise_tempo(BEAT) is AssignmentKind.TRIAL:
            tempo.count_repetition(clean=trials_hold)
            if trials_hold:
                tempo.keep_trial()
            else:
                tempo.undo_trial()
        tempi.append(now(tempo))
    return tempi


def failing(target: int, *tempi: int) -> TempoLadder:
    """A climb at the slowest of these tempi, after a failure at each."""
    tempo = TempoLadder.start(target_qpm=target, now_qpm=target)
    for tempo.now_qpm in tempi:
        tempo.count_repetition(clean=False)
    return tempo


def test_where_the_record_permits_the_tempo_asked_for_is_tried_and_saves_the_climb() -> None:
    tempo = TempoLadder.start(target_qpm=120, now_qpm=90)
    for _ in range(3):
        tempo.count_repetition(clean=True)
    assert tempo.raise_tempo(BEAT) is AssignmentKind.TRIAL
    assert tempo.now_qpm == 120
    tempo.keep_trial()
    assert tempo.at_target


@pytest.mark.parametrize(("share", "kind"), [(0.69, "quicken"), (0.71, "trial at tempo")])
def test_from_far_below_nobody_is_asked_to_jump_to_the_tempo(share: float, kind: str) -> None:
    tempo = TempoLadder.start(target_qpm=120, now_qpm=120 * share)
    for _ in range(6):
        tempo.count_repetition(clean=True)
    assert tempo.raise_tempo(BEAT) == kind


def test_of_a_dozen_repetitions_each_tells_and_of_those_before_none() -> None:
    failed, clean = [(1.0, False)], [(1.0, True)]
    assert clean_chance(failed + 11 * clean, 1.0) < clean_chance(11 * clean, 1.0)
    assert clean_chance(failed + 12 * clean, 1.0) == clean_chance(12 * clean, 1.0)


def test_two_failures_in_another_window_tell_as_much_as_one_in_this() -> None:
    failed = [(1.0, False)]
    assert clean_chance([], 1.0, 2 * failed) == pytest.approx(clean_chance(failed, 1.0))


def test_where_the_record_speaks_against_it_the_next_mark_comes_not_a_trial() -> None:
    """Failed at three tempi, then clean twice at a slow one: far from the tempo asked for."""
    tempo = failing(90, 63, 54, 46, 39)
    for _ in range(2):
        tempo.count_repetition(clean=True)
    assert tempo.raise_tempo(BEAT) is AssignmentKind.QUICKEN
    assert tempo.now_qpm == 42  # 40 is hardly a step from 39


def test_after_a_trial_that_fails_it_goes_back_to_what_held() -> None:
    tempo = TempoLadder.start(target_qpm=120, now_qpm=90)
    for clean in (True, True):
        tempo.count_repetition(clean)
    tempo.raise_tempo(BEAT)
    tempo.count_repetition(clean=False)
    tempo.undo_trial()
    assert now(tempo) <= 90
    assert not tempo.on_trial


@pytest.mark.parametrize(("at", "kind"), [(168, "quicken"), (172, "trial at tempo")])
def test_between_two_trials_lies_half_of_the_way_that_was_left(at: float, kind: str) -> None:
    """From 140 of 200 it failed: so from 170 on it is tried again, however well it goes."""
    tempo = TempoLadder.start(target_qpm=200, now_qpm=140)
    for _ in range(2):
        tempo.count_repetition(clean=True)
    assert tempo.raise_tempo(BEAT) is AssignmentKind.TRIAL
    tempo.count_repetition(clean=False)
    tempo.undo_trial()
    tempo.now_qpm = at
    for _ in range(8):
        tempo.count_repetition(clean=True)
    assert tempo.raise_tempo(BEAT) == kind


def test_also_after_failures_the_tempo_is_tried_on_the_way_up() -> None:
    """Henley (2001), JRME 49, 169-181 (read second-hand): alternating did better than slow only."""
    tempo, trials = failing(160, 160), 0
    tempo.begin_at_likely(BEAT)
    while not tempo.at_target:
        for _ in range(3):
            tempo.count_repetition(clean=True)
        if tempo.raise_tempo(BEAT) is AssignmentKind.TRIAL:
            trials += 1
            tempo.count_repetition(clean=False)
            tempo.undo_trial()
    assert trials


def test_a_place_that_failed_begins_slower_the_slower_the_more_it_failed() -> None:
    begun = []
    for failures in range(5):
        tempo = failing(120, *[120] * failures)
        tempo.now_qpm = 120
        tempo.begin_at_likely(BEAT)
        begun.append(tempo.now_qpm)
    assert begun == sorted(begun, reverse=True)
    assert begun[-1] < 120 * 0.75


@pytest.mark.property
@given(
    st.lists(st.tuples(st.floats(0.5, 1), st.booleans()), max_size=12),
    st.floats(0.5, 1),
    st.floats(0.5, 1),
)
def test_the_chance_of_a_clean_one_falls_with_tempo_and_with_failures(
    tries: list[tuple[float, bool]], one: float, other: float
) -> None:
    """With a failure now, for what failed with a chance p has by Bayes' rule the mean E(p2) / E(p),
    which is no less than E(p) (Cauchy and Schwarz). An old one may speak for learning since."""
    slow, fast = sorted(round(share, SHARE_DIGITS) for share in (one, other))
    assert 0 <= clean_chance(tries, fast) <= clean_chance(tries, slow) + 1e-9 <= 1 + 1e-9
    if len(tries) < TRIES_KEPT:
        assert clean_chance([*tries, (fast, False)], fast) <= clean_chance(tries, fast) + 1e-9


def test_what_was_heard_moves_the_chance_as_bayes_rule_says() -> None:
    """By hand: with one failure at tempo, c weighs as c, so a failure has mean sum c2 / sum c."""
    weights = [c * c for c in CHANCES]
    assert clean_chance([(1.0, False)], 1.0) == pytest.approx(1 - sum(weights) / sum(CHANCES))
    assert clean_chance([], 1.0) == pytest.approx(0.5)


def test_slower_is_clearly_slower_and_ends_at_half_the_tempo() -> None:
    tempo = TempoLadder.start(target_qpm=100, now_qpm=100)
    tempo.lower_tempo(BEAT)
    assert now(tempo) <= 90
    for _ in range(9):
        tempo.lower_tempo(BEAT)
    assert tempo.at_floor
    assert tempo.now_qpm == 100 * 0.5


def test_a_place_is_not_begun_at_half_its_tempo_at_once() -> None:
    tempo = TempoLadder.start(target_qpm=100, now_qpm=100)
    tempo.tries += [(1.0, False)] * 5
    tempo.begin_at_likely(BEAT)
    assert tempo.now_qpm == quicker(100 * 0.7, BEAT)
    tempo.count_repetition(clean=False)
    tempo.lower_tempo(BEAT)
    assert now(tempo) < 100 * 0.7


def test_at_one_s_own_pace_there_is_nothing_to_climb() -> None:
    tempo = TempoLadder.start(target_qpm=None, now_qpm=None)
    assert tempo.at_target
    assert tempo.at_floor
    tempo.lower_tempo(BEAT)
    assert tempo.now_qpm is None


@pytest.mark.property
@given(st.floats(40, 240), st.floats(0.5, 0.98), st.booleans())
def test_it_arrives_at_the_target_exactly_and_never_passes_it(
    target: float, share: float, trials_hold: bool
) -> None:
    tempi = climbed(TempoLadder.start(target_qpm=target, now_qpm=target * share), trials_hold)
    assert tempi[-1] == pytest.approx(target)
    assert max(tempi) <= target + 1e-6
    assert all(after >= slower(before, BEAT) for before, after in pairwise(tempi))


@pytest.mark.property
@given(st.floats(40, 240), st.floats(0.5, 0.9))
def test_the_first_step_up_is_one_mark(target: float, share: float) -> None:
    """Common practice; after the trial, which is no step. A mark nearly reached is none, either."""
    tempo = TempoLadder.start(target_qpm=target, now_qpm=target * share)
    if tempo.raise_tempo(BEAT) is AssignmentKind.TRIAL:
        tempo.undo_trial()
    mark = quicker(target * share, BEAT)
    most = mark if mark > HALF_A_MARK * target * share else quicker(mark, BEAT)
    assert now(tempo) <= most + 1e-6


@pytest.mark.property
@given(st.floats(40, 240), st.floats(0.5, 0.9))
def test_the_first_step_after_slowing_down_is_one_mark_again(target: float, share: float) -> None:
    tempo = TempoLadder.start(target_qpm=target, now_qpm=target * share)
    climbed_to = climbed(tempo)[-2]
    tempo.now_qpm = climbed_to
    tempo.lower_tempo(BEAT)
    low = now(tempo)
    if tempo.raise_tempo(BEAT) is AssignmentKind.TRIAL:
        tempo.undo_trial()
    assert now(tempo) <= quicker(low, BEAT) + 1e-6


@pytest.mark.property
@given(st.lists(st.sampled_from(["up", "down", "held", "failed"]), max_size=12))
def test_it_is_taken_up_again_where_it_stood(moves: list[str]) -> None:
    tempo = TempoLadder.start(target_qpm=120, now_qpm=80)
    for move in moves:
        if move == "down":
            tempo.lower_tempo(BEAT)
        elif tempo.on_trial:
            tempo.count_repetition(clean=move == "held")
            tempo.keep_trial() if move == "held" else tempo.undo_trial()
        elif not tempo.at_target:
            tempo.raise_tempo(BEAT)
    assert TempoLadder.from_plain(json.loads(json.dumps(tempo.to_plain()))) == tempo
