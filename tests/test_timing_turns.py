"""Every other onset of a row late: the fit, held against general least squares."""

import random

import numpy as np
import pytest

from coach.judging.timing.evenness import PULSE_SHARE, STROKE_S, Row, Turns


def row(times: list[float]) -> Row:
    return Row([(i, at_s, float(i)) for i, at_s in enumerate(times)])


def reference(times: list[float], gap_s: float, turns: Turns) -> tuple[float, float, float]:
    """Delay, gain and squares left, by numpy from the textbook's formulas (Aitken 1936)."""
    low, high = max(turns.first - 3, 0), min(turns.late[-1] + 3, len(times) - 1) + 1
    y = np.array(times[low:high])
    places = np.arange(len(y))
    walk = np.minimum.outer(places, places)
    weight = np.linalg.inv(STROKE_S**2 * np.eye(len(y)) + (PULSE_SHARE * gap_s) ** 2 * walk)
    even = np.stack([np.ones(len(y)), places], axis=1)
    late = np.array([float(low + i in turns.late) for i in range(len(y))])

    def left(design: np.ndarray) -> tuple[np.ndarray, float]:
        fit = np.linalg.solve(design.T @ weight @ design, design.T @ weight @ y)
        rest = y - design @ fit
        return fit, float(rest @ weight @ rest)

    fit, rest = left(np.column_stack([even, late]))
    return float(fit[2]), left(even)[1] - rest, rest


@pytest.mark.outside
@pytest.mark.parametrize("seed", range(4))
def test_the_fit_is_the_general_least_squares_one(seed: int) -> None:
    rng = random.Random(seed)
    times = [0.2 * i + rng.gauss(0, 0.02) + 0.06 * (i in (3, 5, 7)) for i in range(12)]
    one = row(times)
    found = list(one.turns())
    assert any(turns.first == 3 for turns in found)
    for turns in found:
        mine = (turns.delay_s, turns.gain, turns.left)
        assert mine == pytest.approx(reference(times, one.gap_s, turns), abs=1e-6, rel=1e-6)


def test_one_onset_far_later_than_the_others_is_one() -> None:
    def best(late_s: dict[int, float]) -> tuple[Row, Turns]:
        one = row([0.2 * i + late_s.get(i, 0.0) for i in range(10)])
        return one, max(one.turns(), key=lambda turns: turns.gain)

    one, turns = best({3: 0.1, 5: 0.015})
    assert one.is_one(turns)
    one, turns = best({3: 0.1, 5: 0.08})
    assert (turns.first, turns.count) == (3, 2)
    assert not one.is_one(turns)
    assert not list(row([0.2 * i + 0.08 * (i == 3) for i in range(10)]).turns())


def test_a_stretch_is_widened_to_where_it_goes_on_alike() -> None:
    long_row = row([0.2 * i + 0.06 * (i % 2) * (3 <= i <= 17) for i in range(22)])
    best = max(long_row.turns(), key=lambda turns: turns.gain)
    assert list(long_row.widened(best).late) == list(range(3, 18, 2))


def test_four_onsets_of_which_the_first_and_third_seem_late_are_a_pause() -> None:
    paused = row([0.0, 0.6, 2.0, 2.6])
    turns = next(t for t in paused.turns() if t.first == 0)
    assert paused.is_one(turns)
    uneven = row([0.0, 0.7, 1.2, 1.9, 2.4])
    assert not any(uneven.is_one(t) for t in uneven.turns())
