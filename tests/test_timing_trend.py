"""The trend of the tempo: small changes are told of even players, and of nobody else."""

import random
from math import hypot, log, sqrt

import numpy as np
import pytest

from coach.judging.judge import judge
from coach.judging.timing.tempo_drift import (
    _Bend,
    _is_likely,
    _is_sure,
    _parabola,
    _steps,
    trend,
)
from coach.judging.tolerance import USUAL
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


PLACES = [i / 2 for i in range(17)]
EVEN = [(1 / 3, 0.0)] * 2
"""The same share of a change from each third to the next."""


@pytest.mark.outside
@pytest.mark.parametrize("ratio", [0.7, 1.0, 1.4])
def test_the_trend_is_numpy_s_line_through_the_tempi_by_how_exactly_each_tells(
    ratio: float,
) -> None:
    """A gap scatters by 9 % of itself, and by 25 ms for the stroke at each of its ends."""
    times = np.array(running(ratio, 0.05, 3))
    gaps, middles = np.diff(times), (times[1:] + times[:-1]) / 2 / times[-1]
    tempi, weights = np.log(0.5 / gaps), 1 / (0.09**2 + 2 * (0.025 / gaps) ** 2)
    rise, start = np.polyfit(middles, tempi, 1, w=np.sqrt(weights))
    left = float(np.sum(weights * (tempi - start - rise * middles) ** 2))
    round_mean = middles - np.average(middles, weights=weights)
    breadth = float(np.sum(weights * round_mean**2))
    found = trend(PLACES, list(times))
    assert found.change == pytest.approx(rise, abs=1e-9)
    unsure = sqrt((left + 3) / (16 - 2 + 3) / breadth)
    assert found.error == pytest.approx(hypot(unsure, 0.10))


@pytest.mark.outside
@pytest.mark.parametrize(("scatter", "seed"), [(0.0, 0), (0.03, 1), (0.2, 2)])
def test_the_bend_is_numpy_s_parabola(scatter: float, seed: int) -> None:
    """A player's scatter is taken for 15 ms, or 7 % of a gap, as if three more onsets had it."""
    times = running(1.3, scatter, seed)
    bend, slope, start = np.polyfit(np.array(PLACES) - 4, times, 2)
    left = float(np.sum((np.polyval([bend, slope, start], np.array(PLACES) - 4) - times) ** 2))
    usual_s = max(0.015, 0.07 * times[-1] / 16)
    found = _parabola(PLACES, times)
    assert (found.bend, found.slope) == pytest.approx((bend, slope), abs=1e-9)
    assert found.scatter_s == pytest.approx(sqrt((left + 3 * usual_s**2) / (17 - 3 + 3)))
    squares = np.array([(x - 4) ** 2 for x in PLACES])
    assert found.error == pytest.approx(
        found.scatter_s / sqrt(np.sum((squares - np.mean(squares)) ** 2))
    )


def test_of_a_bend_the_tempo_at_the_end_over_that_at_the_start_is_told() -> None:
    """Half a second a quarter in the middle, a tenth more at one end and less at the other."""
    assert _Bend(0.5, -0.0125, 1.0, 0.0).ratio(8) == pytest.approx(0.6 / 0.4)
    assert _Bend(0.5, 0.0125, 1.0, 0.0).ratio(8) == pytest.approx(0.4 / 0.6)


@pytest.mark.parametrize(("ratio", "limit"), [(1.5, 3.5), (1 / 1.5, 5.5)])
def test_a_change_is_sure_by_so_many_standard_errors_and_more_where_it_slows(
    ratio: float, limit: float
) -> None:
    assert not _is_sure(_Bend(0.5, limit - 0.1, 1.0, 0.0), ratio, EVEN)
    assert _is_sure(_Bend(0.5, limit + 0.1, 1.0, 0.0), ratio, EVEN)


@pytest.mark.parametrize(("ratio", "limit"), [(1.5, 2.0), (1 / 1.5, 3.5)])
def test_a_change_is_likely_by_fewer(ratio: float, limit: float) -> None:
    assert not _is_likely(_Bend(0.5, limit - 0.1, 1.0, 0.0), ratio, EVEN, USUAL)
    assert _is_likely(_Bend(0.5, limit + 0.1, 1.0, 0.0), ratio, EVEN, USUAL)


@pytest.mark.parametrize("more", [1.035, 1.075])
def test_a_change_that_is_only_likely_has_to_be_larger_and_more_so_where_it_slows(
    more: float,
) -> None:
    bend = _Bend(0.5, 9.0, 1.0, 0.0)
    for size, is_told in ((more - 0.005, False), (more + 0.005, True)):
        ratio = USUAL.drift_ratio * size
        way = ratio if more == 1.035 else 1 / ratio
        assert _is_likely(bend, way, EVEN, USUAL) is is_told


@pytest.mark.parametrize(("share", "is_sure"), [(0.09, False), (0.11, True)])
def test_a_tenth_of_a_sure_change_lies_in_each_third(share: float, is_sure: bool) -> None:
    steps = [(1 / 3, 0.0), (share, 0.0)]
    assert _is_sure(_Bend(0.5, 9.0, 1.0, 0.0), 1.5, steps) is is_sure


def test_the_thirds_of_an_even_change_have_a_third_of_it_between_them() -> None:
    steps = _steps(PLACES, running(1.5), log(1.5), 0.01)
    assert [share for share, _ in steps] == pytest.approx([1 / 3, 1 / 3], abs=0.02)
    assert _steps([0.0, 1.0, 2.0], [0.0, 1.0, 2.0], 1.0, 0.01) == []
