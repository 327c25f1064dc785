"""The one model of how playing scatters: a clock that wanders, strokes that are off, a pulse that
drifts; and how far each onset of a take leaves it.

The clock and the strokes are those of Wing & Kristofferson (1973, Percept. Psychophys. 14, 5-12):
an interval is the clock's, plus its last stroke's error, less its first one's. The pulse itself is
a random walk, which is what rubato is. Written as a state space (position, period) the whole take
is gone through once forwards and once backwards (Kalman filter and disturbance smoother), and at
each onset two shocks are weighed against the scatter (de Jong & Penzer 1998, JASA 93, 796-806):

- a step: this onset and all after it come later or sooner (a misread value, a hesitation);
- an entry: this onset alone does.

Each has its size by least squares, and how many standard deviations that is.

Conventions
-----------
Seconds (``_s``), positive when late; places ``x`` in quarters. Shock ``i`` is that of onset ``i``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log, sqrt
from statistics import median
from typing import NamedTuple

from coach.judging.timing.local_tempo import weighted_median


class Manner(NamedTuple):
    """How someone scatters."""

    clock_share: float
    """Of an interval (SD), as a share of it at the take's middle tempo."""
    stroke_s: float
    """Of a single onset (SD)."""
    walk_share: float
    """How much the pulse changes over a quarter (SD), as a share of it."""


MANNERS = (Manner(0.05, 0.008, 0.06), Manner(0.02, 0.03, 0.02), Manner(0.10, 0.012, 0.06))
"""A professional (strokes of 8 ms: Jabusch 2006; intervals of 5 %: Repp 1997), a steady amateur
whose strokes scatter (20 to 30 ms: Repp 2005, from memory), and practice timing, whose clock does.
The walks are our own choice: those that told most of the changes of ``scripts/bench_rhythm.py``."""
_PRIOR_ONSETS = 20
"""So many onsets' worth of belief that a take scatters as one of the manners says: a window has
5 to 30, of which one may be what is looked for. Own choice, by the same bench."""
_WINSOR = 2.5
"""A take's scatter is taken from its innovations, each counted for no more than this many times the
middle one: what is at fault must not hide itself."""
_LEAST_MIDDLE = 0.5
_MOST_LOSS = 6.0
"""What one onset can say against a manner, in units of -2 log likelihood: about 2.5 SD."""
_PERIOD_SHARE = 0.3
"""How well the middle tempo tells the tempo at the first onset (SD)."""
_FREE = 100.0
"""Variance (s²) of an interval of which nothing is asked: one that was broken into."""
_LOOSE = 9.0
"""Strokes of rolled chords scatter by three times as much: own choice."""
_NORMAL = 0.6745
"""The middle of the absolute values of a normal distribution, in SD."""


@dataclass(frozen=True, slots=True)
class Shock:
    """What one onset shows of a step and of an entry: sizes and standard deviations."""

    step_s: float = 0.0
    step_z: float = 0.0
    entry_s: float = 0.0
    entry_z: float = 0.0


class Strokes(NamedTuple):
    """A take's onsets as the model takes them."""

    xs: Sequence[float]
    times_s: Sequence[float]
    loose: Sequence[bool]
    """Onsets whose exact time is the player's own."""
    free: Sequence[bool]
    """Onsets before which the playing was broken into."""


class _Pass(NamedTuple):
    """What going through the take forwards leaves for the way back."""

    loss: float
    scale: float
    """The take's scatter against the manner's."""
    innovations: list[float]
    variances: list[float]
    gains: list[tuple[float, float]]


def middle_period_s(strokes: Strokes) -> float:
    """The middle of the intervals' tempos, in seconds a quarter, by the quarters they fill."""
    xs, times = strokes.xs, strokes.times_s
    found = [
        (max(times[i] - times[i - 1], 0.005) / (xs[i] - xs[i - 1]), xs[i] - xs[i - 1])
        for i in range(1, len(xs))
        if not strokes.free[i]
    ]
    return weighted_median(found) if found else 0.5


def find_shocks(strokes: Strokes) -> list[Shock]:
    """What each onset shows, by the manner that explains the take best."""
    if len(strokes.xs) < 2:
        return [Shock()] * len(strokes.xs)
    period_s = middle_period_s(strokes)
    best = min((_forwards(strokes, manner, period_s) for manner in MANNERS), key=_loss)
    return _backwards(strokes, best)


def _loss(found: _Pass) -> float:
    return found.loss


def _forwards(strokes: Strokes, manner: Manner, period_s: float) -> _Pass:
    """The Kalman filter: each onset foretold from those before it."""
    xs, times = strokes.xs, strokes.times_s
    stroke = manner.stroke_s**2
    clock, walk = (manner.clock_share * period_s) ** 2, (manner.walk_share * period_s) ** 2
    at, period = times[0], period_s
    p_aa, p_ap, p_pp = 1.0, 0.0, (_PERIOD_SHARE * period_s) ** 2
    innovations, variances, gains = [], [], []
    last = len(xs) - 1
    for i, (x, time) in enumerate(zip(xs, times, strict=True)):
        step = xs[i + 1] - x if i < last else 1.0
        variance = p_aa + (stroke * _LOOSE if strokes.loose[i] else stroke)
        new = time - at
        gain_a, gain_p = (p_aa + step * p_ap) / variance, p_ap / variance
        innovations.append(new)
        variances.append(variance)
        gains.append((gain_a, gain_p))
        at, period = at + step * period + gain_a * new, period + gain_p * new
        moved_a, moved_p = p_aa + step * p_ap, p_ap + step * p_pp
        free = _FREE if i < last and strokes.free[i + 1] else 0.0
        p_aa, p_ap, p_pp = (
            moved_a * (1 - gain_a) + moved_p * step + clock * step * step + free,
            moved_p - moved_a * gain_p,
            p_pp - p_ap * gain_p + walk * step,
        )
    errors = [abs(v) / sqrt(f) for v, f in zip(innovations[1:], variances[1:], strict=True)]
    scale = _scale(errors)
    loss = sum(min((e / scale) ** 2, _MOST_LOSS) for e in errors)
    loss += sum(log(f) for f in variances[1:]) + 2 * len(errors) * log(scale)
    return _Pass(loss, scale, innovations, variances, gains)


def _scale(errors: Sequence[float]) -> float:
    """The take's own scatter, in units of the manner's (SD), held by the prior."""
    most = _WINSOR * max(median(errors) / _NORMAL, _LEAST_MIDDLE)
    squares = sum(min(e, most) ** 2 for e in errors)
    return sqrt((squares + _PRIOR_ONSETS) / (len(errors) + _PRIOR_ONSETS))


def _backwards(strokes: Strokes, found: _Pass) -> list[Shock]:
    """The disturbance smoother: what all other onsets say of each."""
    xs, scale = strokes.xs, found.scale
    last = len(xs) - 1
    out = [Shock()] * len(xs)
    r_a = r_p = n_aa = n_ap = n_pp = 0.0
    for i in range(last, -1, -1):
        step = xs[i + 1] - xs[i] if i < last else 1.0
        (gain_a, gain_p), weight = found.gains[i], 1 / found.variances[i]
        new = found.innovations[i] * weight
        alone = new - gain_a * r_a - gain_p * r_p
        alone_n = weight + gain_a * (gain_a * n_aa + 2 * gain_p * n_ap) + gain_p * gain_p * n_pp
        stay = 1 - gain_a
        left_a, left_p = stay * n_aa - gain_p * n_ap, stay * n_ap - gain_p * n_pp
        r_a, r_p = new + stay * r_a - gain_p * r_p, step * r_a + r_p
        n_aa, n_ap, n_pp = (
            weight + stay * left_a - gain_p * left_p,
            step * left_a + left_p,
            step * (step * n_aa + 2 * n_ap) + n_pp,
        )
        out[i] = Shock(
            r_a / n_aa if n_aa > 0 else 0.0,
            0.0 if strokes.free[i] else r_a / (sqrt(n_aa) * scale),
            alone / alone_n,
            alone / (sqrt(alone_n) * scale),
        )
    return out
