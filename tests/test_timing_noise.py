"""The noise model, held against the same Gaussian written out as one covariance of all onsets."""

from __future__ import annotations

from math import log
from random import Random

import numpy as np
import numpy.typing as npt
import pytest

from coach.judging.timing.noise import SCATTER_MODELS, ScatterModel, Strokes, TimingEvidence

Array = npt.NDArray[np.float64]

XS = [0.0, 1.0, 1.5, 2.0, 4.0, 5.0, 5.25, 6.0, 7.0]
"""Quarters: notes of several lengths."""
LOOSE = [False, False, False, True, False, False, False, True, False]
PERIOD_S = 0.5
KNOWN = len(XS) - 1
"""Intervals that tell how the take scatters."""


def take(seed: int) -> Strokes:
    """A take at 120 in which strokes and intervals scatter."""
    dice = Random(seed)
    times, at_s = [], 0.0
    for x, before in zip(XS, [0.0, *XS], strict=False):
        at_s += (x - before) * PERIOD_S * (1 + dice.gauss(0, 0.06))
        times.append(at_s + dice.gauss(0, 0.015))
    return Strokes(XS, times, LOOSE, [False] * len(XS))


def covariance(model: ScatterModel, period_s: float) -> Array:
    """Of all onsets' times: of the first place and tempo, the clock, the walk and the strokes."""
    xs, count = np.array(XS), len(XS)
    shapes = [(np.ones(count), 1.0), (xs - xs[0], (0.3 * period_s) ** 2)]
    for i in range(count - 1):
        step = xs[i + 1] - xs[i]
        after = (np.arange(count) > i).astype(float)
        shapes.append((after, (model.clock_share * period_s * step) ** 2))
        shapes.append((np.maximum(xs - xs[i + 1], 0.0), (model.walk_share * period_s) ** 2 * step))
    strokes = np.where(LOOSE, 9.0, 1.0) * model.stroke_s**2
    total: Array = np.diag(strokes)
    for shape, variance in shapes:
        total = total + variance * np.outer(shape, shape)
    return total


def shape_of(what: str, i: int) -> Array:
    """How late each onset is by a step, an entry or a turn of size 1 at onset i."""
    xs = np.array(XS)
    shapes: dict[str, Array] = {
        "step": (xs >= xs[i]).astype(np.float64),
        "entry": (xs == xs[i]).astype(np.float64),
        "turn": np.maximum(xs - xs[i], 0.0),
    }
    return shapes[what]


class Dense:
    """The take by numpy alone."""

    def __init__(self, strokes: Strokes, period_s: float) -> None:
        times = np.array(strokes.times_s)
        self.left = times - times[0] - period_s * (np.array(XS) - XS[0])
        self.covariances = [covariance(model, period_s) for model in SCATTER_MODELS]

    def pairs(self, shape: Array) -> list[tuple[float, float]]:
        """Pull and weight of a lateness of that shape, for each manner."""
        out = []
        for total in self.covariances:
            own = np.linalg.solve(total, shape)
            out.append((float(own @ self.left), float(own @ shape)))
        return out

    def squares(self) -> list[float]:
        return [float(self.left @ np.linalg.solve(one, self.left)) for one in self.covariances]

    def priors(self) -> list[float]:
        """Of the onsets after the first, which stands where it stands."""
        return [
            float(-(np.linalg.slogdet(one)[1] - log(one[0, 0])) / 2) for one in self.covariances
        ]

    def evidence(self, shape: Array, *, doubted: bool) -> float:
        """With the size of the scatter integrated out; twenty onsets' worth of belief."""
        taken = [pull * pull / weight for pull, weight in self.pairs(shape)]
        return self._likelihood(taken, doubted) - self._likelihood([0.0] * len(taken), False)

    def _likelihood(self, taken: list[float], doubted: bool) -> float:
        logs = [
            model.usual - model.doubt * doubted + prior - (20 + KNOWN) / 2 * log(20 + squares - one)
            for model, prior, squares, one in zip(
                SCATTER_MODELS, self.priors(), self.squares(), taken, strict=True
            )
        ]
        return float(np.logaddexp.reduce(logs))


@pytest.mark.outside
@pytest.mark.parametrize("seed", range(3))
def test_each_manner_foretells_a_take_as_its_covariance_does(seed: int) -> None:
    evidence = TimingEvidence(take(seed))
    dense = Dense(take(seed), evidence.period_s)
    heard = evidence.hear_take()
    assert heard.priors == pytest.approx(dense.priors())
    assert heard.squares == pytest.approx(dense.squares())
    assert heard.count == KNOWN


@pytest.mark.outside
@pytest.mark.parametrize("i", range(1, len(XS)))
def test_a_step_an_entry_and_a_turn_are_weighed_as_by_generalised_least_squares(i: int) -> None:
    evidence = TimingEvidence(take(7))
    dense = Dense(take(7), evidence.period_s)
    for heard, asked in zip(evidence.hear_step(i), dense.pairs(shape_of("step", i)), strict=True):
        assert heard == pytest.approx(asked)
    found = evidence.find_entry(i)
    assert found.evidence == pytest.approx(dense.evidence(shape_of("entry", i), doubted=False))
    step = evidence.find_step(i)
    assert step.evidence == pytest.approx(dense.evidence(shape_of("step", i), doubted=True))
    if i < len(XS) - 1:
        turn = evidence.find_turn(i)
        assert turn.evidence == pytest.approx(dense.evidence(shape_of("turn", i), doubted=False))


@pytest.mark.outside
def test_a_lateness_of_any_shape_is_weighed_as_its_covariance_does() -> None:
    evidence = TimingEvidence(take(7))
    dense = Dense(take(7), evidence.period_s)
    shape = [0.0, 0.0, 0.1, 0.2, 0.5, 0.9, 1.0, 1.4, 2.0]
    found = evidence.find_shape(shape)
    assert found.evidence == pytest.approx(dense.evidence(np.array(shape), doubted=False))
