"""The simulated pianist plays as people do, and learns as people do."""

import itertools
from collections.abc import Iterable
from fractions import Fraction as F
from statistics import mean
from typing import Any

import numpy as np
import pytest

from coach.playing.notes import PlayedNote
from coach.playing.simulated.player import (
    ADVANCED,
    LEVELS,
    Failing,
    Law,
    Level,
    PlayerFault,
    SimulatedPianist,
    demo_pianist,
    share_left,
)
from coach.score.build import score_from_notes
from coach.score.model import Hands, Score, ScoreNote
from coach.score.window import Transition
from tests.judging_help import whole

INTO_BEAT_5 = Transition(Hands.LEFT, F(4), F(5))
MACHINE = Level("machine", 0.0, 0.0, 0.0, 0.25, 1.0)


def piece(beats: int = 8) -> Score:
    right = [{"pitch": 72 + i % 5, "onset": i, "length": 1, "hand": "RH"} for i in range(beats)]
    left = [{"pitch": 48 + i % 4, "onset": i, "length": 1, "hand": "LH"} for i in range(beats)]
    return score_from_notes([*right, *left], qpm=100)


def player(
    seed: int = 1,
    level: Level = MACHINE,
    law: Law = Law.EXPONENTIAL,
    *,
    transition: Transition = INTO_BEAT_5,
    chance: float = 1.0,
    **fault: Any,
) -> SimulatedPianist:
    faults = [PlayerFault(transition, chance, **fault)]
    return SimulatedPianist(piece(), seed=seed, faults=faults, level=level, law=law)


def keys(notes: Iterable[ScoreNote | PlayedNote]) -> list[int]:
    return sorted(note.pitch for note in notes)


def test_the_same_seed_plays_the_same_notes() -> None:
    first, second = (player(seed=7, level=ADVANCED).play(whole(piece()), 100) for _ in "ab")
    assert first == second
    assert first != player(seed=8, level=ADVANCED).play(whole(piece()), 100)


def test_without_a_fault_the_right_keys_are_played_in_time() -> None:
    score = piece()
    notes = SimulatedPianist(score, seed=1, level=MACHINE).play(whole(score), 60, start_s=5.0)
    assert keys(notes) == keys(score.notes)
    assert notes[0].onset_s == pytest.approx(5.0, abs=0.02)
    assert notes[-1].onset_s == pytest.approx(12.0, abs=0.02)


def test_a_wrong_key_is_one_key_of_that_hand_at_the_move_s_end() -> None:
    score = piece()
    wrong = list(keys(player(learns=False).play(whole(score), 100)))
    right = keys(score.notes)
    assert len(wrong) == len(right)
    assert sum(a != b for a, b in zip(wrong, right, strict=True)) >= 1


def test_a_missed_note_is_missing_and_a_stumble_adds_some() -> None:
    count = len(piece().notes)
    assert len(player(failing=Failing.MISSED).play(whole(piece()), 100)) == count - 1
    assert len(player(failing=Failing.STUMBLE).play(whole(piece()), 100)) == count + 4


def test_a_late_arrival_delays_what_comes_after_it_too() -> None:
    notes = player(failing=Failing.LATE).play(whole(piece()), 60)
    times = sorted({round(note.onset_s, 1) for note in notes})
    assert any(5.2 <= at <= 5.7 for at in times)
    assert max(times) > 7.2


def test_a_fault_of_both_together_never_shows_hands_separate() -> None:
    both = Transition(Hands.TOGETHER, F(4), F(5))
    score = piece()
    pianist = player(transition=both, failing=Failing.MISSED)
    assert len(pianist.play(whole(score, Hands.LEFT), 100)) == 8
    assert len(pianist.play(whole(score), 100)) == 15


def test_slower_fails_less_and_right_repetitions_mend() -> None:
    fault = PlayerFault(INTO_BEAT_5, 0.8)
    at_tempo = fault.chance_now(0, 0.2, Law.EXPONENTIAL, 1.0)
    assert fault.chance_now(0, 0.2, Law.EXPONENTIAL, 0.5) < at_tempo
    assert fault.chance_now(5, 0.2, Law.EXPONENTIAL, 1.0) < at_tempo


def test_a_long_evening_tires_and_a_night_rests() -> None:
    tired = player(chance=0.2, learns=False)
    fault = tired.faults[0]
    for _ in range(60):
        tired.play(whole(tired.score), 100)
    assert tired.chance(fault) == pytest.approx(0.2)
    for _ in range(50):
        tired.play(whole(tired.score), 100)
    assert tired.chance(fault) == pytest.approx(0.3)
    tired.sleep()
    assert tired.chance(fault) == pytest.approx(0.2)


@pytest.mark.parametrize("law", Law)
def test_every_law_of_learning_falls(law: Law) -> None:
    shares = [share_left(n, 0.2, law) for n in range(20)]
    assert all(a > b for a, b in itertools.pairwise(shares))
    assert shares[-1] < 0.15


@pytest.mark.outside
def test_the_exponential_law_has_the_same_rate_all_along() -> None:
    """Heathcote, Brown and Mewhort (2000): the hallmark of an exponential is a constant rate."""
    shares = [share_left(n, 0.2, Law.EXPONENTIAL) for n in range(10)]
    rates = [b / a for a, b in itertools.pairwise(shares)]
    assert max(rates) - min(rates) < 1e-12


@pytest.mark.outside
def test_a_fit_to_one_learner_s_curve_gives_the_rate_back() -> None:
    """Heathcote, Brown and Mewhort (2000): A + B exp(-rate N) for a learner; scipy fits it."""
    from scipy.optimize import curve_fit  # heavy: only the process that runs this pays for it

    pianist = player(chance=0.9, level=Level("steady", 0.0, 0.0, 0.0, 0.2, 1.0))
    (fault,) = pianist.faults
    seen, right = list[tuple[int, float]](), 0
    while len(seen) < 25:
        before = pianist.chance(fault)
        pianist.play(whole(piece()), 100)
        if pianist.chance(fault) < before:  # it was right, and something was learnt
            seen.append((right, before))
            right += 1
    counts, chances = zip(*seen, strict=True)
    (floor, gain, rate), _ = curve_fit(
        lambda n, a, b, r: a + b * np.exp(-r * n), counts, chances, p0=(0.1, 0.5, 0.1)
    )
    assert (floor, gain, rate) == pytest.approx((0.0, 0.9, 0.2), abs=1e-3)


@pytest.mark.outside
def test_its_timing_is_wing_and_kristofferson_s() -> None:
    """Lag-one correlation of intervals lies between -1/2 and 0 (1973; from memory)."""
    score = piece(400)
    jittery = Level("jittery", 0.0, 0.02, 12.0, 0.2, 1.0)
    right = whole(score, Hands.RIGHT)
    times = [n.onset_s for n in SimulatedPianist(score, seed=3, level=jittery).play(right, 120)]
    gaps = [b - a for a, b in itertools.pairwise(times)]
    middle = mean(gaps)
    around = [gap - middle for gap in gaps]
    lag_one = sum(a * b for a, b in itertools.pairwise(around)) / sum(a * a for a in around)
    assert -0.5 < lag_one < -0.1


def test_better_players_are_steadier_and_slip_less() -> None:
    for worse, better in itertools.pairwise(LEVELS):
        assert (worse.slip, worse.motor_ms, worse.clock_share) > (
            better.slip,
            better.motor_ms,
            better.clock_share,
        )


def test_the_demo_s_player_has_one_fault_and_it_is_in_one_hand() -> None:
    (fault,) = demo_pianist(piece()).faults
    assert fault.transition.hands is Hands.LEFT
