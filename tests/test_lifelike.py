"""Pianists whose nature is drawn: each law of it shows in how often a place fails."""

from dataclasses import replace
from fractions import Fraction as F
from itertools import pairwise
from random import Random

import pytest

from coach.coaching.diagnosis import evidence, troubles
from coach.coaching.practice import tempo
from coach.playing.simulated.lifelike import LifelikePianist, Nature, chance_of, log_odds
from coach.playing.simulated.player import Failing, PlayerFault
from coach.score.model import Hands
from coach.score.window import Transition, Window, excerpt
from tests.lessons import QPM, piece

PLACE = Transition(Hands.LEFT, F(5), F(6))
PLAIN = Nature(
    alone_eases=0.7, half_tempo_eases=1.3, gain=0.3, undone=0.5, alone_carries=0.6, forgets=0.02,
    slip=0.0, slips_again=0.0, loose=2.0, fear_s=0.0, false_start=0.0, breaks_off=0.0,
    talk_s=2.0, other_hand_too=0.0, pace=1.0, pace_scatter=0.0,
)  # fmt: skip


def pianist(chance: float = 0.6, **changes: float) -> tuple[LifelikePianist, PlayerFault]:
    fault = PlayerFault(PLACE, chance)
    nature = replace(PLAIN, **changes)
    return LifelikePianist(piece(), seed=3, nature=nature, faults=[fault]), fault


def test_a_hand_alone_and_a_slower_tempo_fail_less_by_so_many_log_odds() -> None:
    player, fault = pianist()
    assert player.chance(fault) == pytest.approx(0.6)
    assert log_odds(player.chance(fault, 1.0, Hands.LEFT)) == pytest.approx(log_odds(0.6) - 0.7)
    assert log_odds(player.chance(fault, 0.5)) == pytest.approx(log_odds(0.6) - 1.3)


@pytest.mark.parametrize(("chance", "after"), [(1e-5, -0.3), (1 - 1e-5, 0.0)])
def test_a_right_repetition_mends_and_a_wrong_one_never_makes_it_worse_than_it_was(
    chance: float, after: float
) -> None:
    player, fault = pianist(chance)
    before = log_odds(player.chance(fault))
    score = piece()
    player.play(excerpt(score, Window(F(0), F(16))), QPM)
    assert log_odds(player.chance(fault)) - before == pytest.approx(after, abs=1e-6)


def test_a_wrong_repetition_takes_back_a_part_of_what_was_learnt() -> None:
    player, fault = pianist(0.5)
    whole, learnt = excerpt(piece(), Window(F(0), F(16))), [0.0]
    for _ in range(60):
        player.play(whole, QPM)
        learnt.append(log_odds(0.5) - log_odds(player.chance(fault)))
    steps = [round(b - a, 6) for a, b in pairwise(learnt)]
    assert set(steps) >= {0.3, -0.15}


def test_what_was_learnt_fades_while_it_is_not_played() -> None:
    player, fault = pianist(1e-5)
    player.play(excerpt(piece(), Window(F(0), F(16))), QPM)
    player._now_s = 600.0
    left = 0.3 * 0.98**10
    assert log_odds(player.chance(fault)) == pytest.approx(log_odds(1e-5) - left, abs=1e-6)


def test_who_never_learns_fails_as_often_in_the_end() -> None:
    player, fault = pianist(gain=0.0)
    for _ in range(30):
        player.play(excerpt(piece(), Window(F(0), F(16))), QPM)
    assert player.chance(fault) == pytest.approx(0.6)


def test_both_hands_may_play_where_one_is_asked_for() -> None:
    player, _ = pianist(other_hand_too=1.0)
    left = excerpt(piece(), Window(F(0), F(16), Hands.LEFT))
    assert len(player.play(left, QPM)) == 2 * len(left.notes)


def test_a_repetition_may_be_left_where_it_went_wrong() -> None:
    player, _ = pianist(1 - 1e-5, breaks_off=1.0)
    assert len(player.play(excerpt(piece(), Window(F(0), F(16))), QPM)) <= 14


def test_no_constant_of_the_coach_is_one_of_theirs() -> None:
    """Drawn at dice from a continuous range; the coach's own figures are no ends of it."""
    coachs = {
        value
        for module in (evidence, troubles, tempo)
        for name, value in vars(module).items()
        if name.isupper() and isinstance(value, float)
    }
    for seed in range(50):
        nature = Nature.draw(Random(seed))
        drawn = {getattr(nature, name) for name in Nature.__slots__} - {0.0}
        assert not drawn & coachs


def test_log_odds_and_chance_are_each_other_s_inverse() -> None:
    assert chance_of(log_odds(0.2)) == pytest.approx(0.2)


def test_who_misses_all_there_is_plays_nothing() -> None:
    missed = PlayerFault(PLACE, 1.0, Failing.MISSED)
    nature = replace(PLAIN, slip=1.0, breaks_off=1.0)
    player = LifelikePianist(piece(), seed=3, nature=nature, faults=[missed])
    two = excerpt(piece(), Window(F(5), F(7), Hands.LEFT))
    assert () in [player.play(two, QPM) for _ in range(20)]
