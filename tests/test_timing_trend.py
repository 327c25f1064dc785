"""The trend of the tempo: small changes are told of even players, and of nobody else."""

import random
from math import log

import pytest

from coach.judging.judge import judge
from coach.judging.timing.tempo_drift import trend
from tests.judging_help import both, play, whole

WINDOW = whole(both(16))
"""Two bars of 4/4: eighths in the right hand, quarters in the left."""


def running(ratio: float, scatter: float = 0.0, seed: int = 0) -> list[float]:
    """Times of onsets an eighth apart: the tempo changes evenly, each gap is off by chance."""
    rng = random.Random(seed)
    times = [0.0]
    for i in range(16):
        tempo = ratio ** ((i + 0.5) / 16)
        times.append(times[-1] + 0.25 / tempo * (1 + rng.gauss(0, scatter)))
    return times


def heard(times: list[float]) -> list[tuple[str, bool]]:
    played = play(WINDOW, at=lambda x: times[round(2 * x)])
    return [(fault.cause, fault.forgiven) for fault in judge(WINDOW, played).faults]


@pytest.mark.parametrize("ratio", [0.7, 0.8, 1.25, 1.4])
def test_an_even_change_is_measured(ratio: float) -> None:
    """In logarithms of the tempo, over the time that the row takes."""
    found = trend([i / 2 for i in range(17)], running(ratio))
    assert found.change == pytest.approx(log(ratio), rel=0.08)


def test_the_first_gap_or_the_last_alone_makes_no_trend() -> None:
    places = [i / 2 for i in range(9)]
    for long in (1, 8):
        times = [0.25 * i + (0.15 if i >= long else 0.0) for i in range(9)]
        found = trend(places, times)
        assert abs(found.change) > 0.15
        assert found.least == pytest.approx(0.0, abs=1e-6)


def test_the_freer_the_playing_the_less_sure_the_trend() -> None:
    places = [i / 2 for i in range(17)]
    errors = [trend(places, running(1.3, scatter, 5)).error for scatter in (0.0, 0.15, 0.3)]
    assert errors == sorted(errors)


def test_an_even_player_is_told_of_a_smaller_change_and_a_free_one_is_not() -> None:
    """A change to 1.31 is below the limit that holds for everybody (1.35)."""
    assert heard(running(1.31)) == [("tempo drift", True)]
    assert heard(running(1 / 1.34)) == [("slowing down", True)]
    told = [cause for seed in range(40) for cause, _ in heard(running(1.31, 0.15, seed))]
    assert told.count("tempo drift") < 20


def test_a_steady_even_player_is_told_nothing() -> None:
    told = [heard(running(1.0, 0.07, seed)) for seed in range(60)]
    assert sum(bool(one) for one in told) <= 2
