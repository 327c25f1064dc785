"""Where a player's beat is, and how fast it goes: scatter, a change and a wait are told apart."""

from __future__ import annotations

from math import sqrt
from random import Random

import numpy as np
import pytest

from coach.playing import accompaniment
from coach.playing.accompaniment import KNOWN_SHARE, STROKE_S, UNKNOWN_SHARE, PaceFollower, _Guess


def heard(*seconds: float, quarter_s: float = 1.0, is_known: bool = True) -> PaceFollower:
    """A player's quarters, each so long."""
    pace = PaceFollower(quarter_s, is_known=is_known)
    at_s = 10.0
    pace.begin(0.0, at_s)
    for quarters, length_s in enumerate(seconds, start=1):
        at_s += length_s
        pace.hear(quarters, at_s)
    return pace


@pytest.mark.parametrize("slower", [0.8, 1.2])
def test_a_change_by_a_fifth_is_followed_within_two_beats(slower: float) -> None:
    assert heard(1, 1, 1, slower).quarter_s == pytest.approx(slower, abs=0.1)
    assert heard(1, 1, 1, slower, slower).quarter_s == pytest.approx(slower, abs=0.04)


def test_a_key_that_was_waited_for_is_no_other_pace() -> None:
    assert heard(1, 1, 1, 1.7, 1, 1).quarter_s == pytest.approx(1.0, abs=0.03)
    assert heard(1, 1, 1, 8.0).due_s(5) == pytest.approx(10 + 3 + 8 + 1, abs=0.05)


def test_whoever_goes_on_at_a_third_of_the_pace_is_followed_after_some_beats() -> None:
    assert heard(1, 1, 3).quarter_s < 1.5
    assert heard(1, 1, *[3] * 4).quarter_s == pytest.approx(3, abs=0.2)


def test_strokes_that_scatter_move_the_beat_by_less_than_themselves() -> None:
    dice, filtered, bare = Random(1), [], []
    for _ in range(40):
        off = [dice.gauss(0, STROKE_S) for _ in range(8)]
        pace = PaceFollower(1.0, is_known=True)
        pace.begin(0, off[0])
        for at in range(1, 8):
            pace.hear(at, at + off[at])
        filtered.append(abs(pace.due_s(8) - 8))
        bare.append(abs(7 + off[7] + (1 + off[7] - off[6]) - 8))
    assert sum(filtered) < 0.7 * sum(bare)


def test_what_is_known_of_a_player_is_left_later_than_what_was_only_asked_for() -> None:
    assert heard(1.1, is_known=True).quarter_s < heard(1.1, is_known=False).quarter_s


@pytest.mark.outside
@pytest.mark.parametrize("is_known", [True, False])
def test_where_nothing_changes_it_is_the_regression_of_all_strokes(
    is_known: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A Kalman filter without process noise is Bayes' linear regression (Bishop 2006, 3.3); solved
    here as least squares by numpy, the prior being one more row."""
    for name, value in {
        "CLOCK_SHARE": 0.0, "WANDER_SHARE": 0.0, "CHANGES": ((0.0, 1e-9),), "WAITS": 1e-12,
    }.items():  # fmt: skip
        monkeypatch.setattr(accompaniment, name, value)
    strokes_s = [5.0, 6.02, 6.99, 8.06, 9.01]
    pace = PaceFollower(0.95, is_known=is_known)
    pace.begin(0, strokes_s[0])
    for at, at_s in enumerate(strokes_s[1:], start=1):
        pace.hear(at, at_s)
    prior_s = 0.95 * (KNOWN_SHARE if is_known else UNKNOWN_SHARE)
    rows = [[1 / STROKE_S, at / STROKE_S] for at in range(5)] + [[0, 1 / prior_s]]
    right = [at_s / STROKE_S for at_s in strokes_s] + [0.95 / prior_s]
    (start_s, quarter_s), *_ = np.linalg.lstsq(np.array(rows), np.array(right), rcond=None)
    assert pace.quarter_s == pytest.approx(quarter_s, abs=1e-6)
    assert pace.due_s(7) == pytest.approx(start_s + 7 * quarter_s, abs=1e-6)


@pytest.mark.parametrize("quarters", [1, 2])
def test_a_beat_not_heard_grows_less_sure_by_a_fiftieth_of_its_length(quarters: int) -> None:
    """The standard deviation of an interval by the clock (Repp 1997); the pace wanders besides."""
    after = _Guess(0.0, 0.5, 0.0, 0.0, 0.0).after(quarters)
    assert after.beat_s == 0.5 * quarters
    assert sqrt(after.beat_variance) == pytest.approx(0.02 * 0.5 * quarters)
    assert sqrt(after.quarter_variance) == pytest.approx(0.03 * 0.5 * sqrt(quarters))
