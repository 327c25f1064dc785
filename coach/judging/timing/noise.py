"""The one model of how playing scatters: a clock that wanders, strokes that are off, a pulse that
drifts; and how much better the onsets of a take are explained by something else besides.

The clock and the strokes are those of Wing & Kristofferson (1973, Percept. Psychophys. 14, 5-12):
an interval is the clock's, plus its last stroke's error, less its first one's. The pulse itself is
a random walk, which is what rubato is. Written as a state space (position, period) the whole take
is gone through once forwards and once backwards (Kalman filter and disturbance smoother; de Jong &
Penzer 1998, JASA 93, 796-806), for each of a few manners of scattering. Which of them this player
has, and how large the scatter is, only earlier takes can tell: each explanation is weighed under
all of them, by how well it makes them foretell the take, and those before it (a Bayes factor; the
size of the scatter is integrated out, which makes a Student's t of the normal distribution). So
what is at fault can't hide itself by seeming to be scatter.

Explanations are

- a step: this onset and all after it come later or sooner (a misread value, a hesitation);
- an entry: this onset alone does;
- a turn: from this onset on the pulse is another one;
- a shape: a lateness over several onsets at once, as that of a ritard to the end, or of a swing.

Conventions
-----------
Seconds (``_s``), positive when late; places ``x`` in quarters. Evidence is a natural logarithm: how
many times likelier the take is by the explanation than by scatter alone. 3 are 20 times.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from math import exp, expm1, inf, log, sqrt
from operator import mul
from typing import NamedTuple

from coach.judging.model import UNHEARD, LengthsHeard, ScatterHeard
from coach.judging.timing.local_tempo import weighted_median


class ScatterModel(NamedTuple):
    """How someone scatters."""

    clock_share: float
    """Of an interval (SD), as a share of it at the take's middle tempo."""
    stroke_s: float
    """Of a single onset (SD)."""
    walk_share: float
    """How much the pulse changes over a quarter (SD), as a share of it."""
    usual: float = 0.0
    """Logarithm of how usual it is, against the first of them."""
    doubt: float = 0.0
    """How much less a step is worth where this is how the take scatters."""


SCATTER_MODELS = (
    ScatterModel(0.05, 0.008, 0.06),
    ScatterModel(0.001, 0.03, 0.001, 2.0, 1.5),
    ScatterModel(0.001, 0.06, 0.001, 0.0, 2.5),
    ScatterModel(0.07, 0.016, 0.03, 2.9, 5.0),
    ScatterModel(0.14, 0.018, 0.03, 0.4, 2.0),
)
"""A professional (strokes of 8 ms: Jabusch 2006; intervals of 5 %: Repp 1997); who keeps time, and
whose strokes scatter little (20 to 30 ms: Repp 2005, from memory) or widely; and practice timing,
whose clock does, less and more. The clock of who keeps time hardly wanders: were it let, it would
explain away each value that was misread, which shifts all after it as wandering does. The walks,
how usual each is and the doubts are our own choice: of those tried the ones that hear most
shortened and lengthened values of each kind of player at as many false alarms. By
``scripts.bench_rhythm --seed 71021 --windows 60`` half a value is told in .53, .47 and .72. Where
the clock scatters, single intervals are off
by more than a normal distribution has it, so that more is asked of a step."""
KNOWN_ONSETS = 40
"""So many onsets of earlier takes tell how a player scatters, about the last two or three: people
change from one hour to the next. Own choice: with 100 three in a hundred halved values more are
told, and one or two in a hundred ritards and stretches more accused (100 windows of each kind of
player, each after four others of the same one)."""
_PRIOR_ONSETS = 20
"""So many onsets' worth of belief that a take scatters as one of the manners says: a window has
5 to 30, of which one may be what is looked for. Own choice, by the same search."""
_PERIOD_SHARE = 0.3
"""How well the middle tempo tells the tempo at the first onset (SD)."""
_FREE = 100.0
"""Variance (s²) of an interval of which nothing is asked: one that was broken into."""
_LOOSE = 9.0
"""Strokes of rolled chords scatter by three times as much: own choice."""
_SHAPED_SHARE, _SHAPED_S = 0.04, 0.010
"""How much the same player shapes a length in the same way each time (SD): as a share of it, and in
seconds, as the hands' and the melody's lead do. Own choice, by three made repetitions of untouched
windows."""


_NOTHING_HEARD = ScatterHeard((0.0,) * len(SCATTER_MODELS), (0.0,) * len(SCATTER_MODELS))


class Found(NamedTuple):
    """An explanation of its best size."""

    size_s: float
    evidence: float


NOTHING = Found(0.0, 0.0)


class Strokes(NamedTuple):
    """A take's onsets as the model takes them."""

    xs: Sequence[float]
    times_s: Sequence[float]
    loose: Sequence[bool]
    """Onsets whose exact time is the player's own."""
    free: Sequence[bool]
    """Onsets before which the playing was broken into."""


class _Pair(NamedTuple):
    """What a take says of one shock: ``pull / weight`` is its size by least squares."""

    pull: float
    weight: float


class _Reading(NamedTuple):
    """A take as one manner reads it."""

    prior: float
    """Logarithm of how well it foretells the take, but for the squares."""
    squares: float
    """Squares of what was foretold wrongly, in units of the manner's scatter."""
    gains: list[tuple[float, float]]
    variances: list[float]
    steps: list[_Pair]
    entries: list[_Pair]
    turns: list[_Pair]
    standardised: list[float]
    """What of the take was not foretold, in units of the scatter; nothing of what is free."""


def middle_period_s(strokes: Strokes) -> float:
    """The middle of the intervals' tempos, in seconds a quarter, by the quarters they fill."""
    xs, times = strokes.xs, strokes.times_s
    found = [
        (max(times[i] - times[i - 1], 0.005) / (xs[i] - xs[i - 1]), xs[i] - xs[i - 1])
        for i in range(1, len(xs))
        if not strokes.free[i]
    ]
    return weighted_median(found) if found else 0.5


class TimingEvidence:
    """What a take of two onsets or more says for each explanation, against scatter alone.

    ``earlier`` is how the player was heard to scatter before.
    """

    def __init__(self, strokes: Strokes, earlier: ScatterHeard = UNHEARD) -> None:
        self._strokes = strokes
        self._earlier = earlier if earlier.count else _NOTHING_HEARD
        self.period_s = middle_period_s(strokes)
        self._readings = [_read(strokes, model, self.period_s) for model in SCATTER_MODELS]
        known = sum(not free for free in strokes.free[1:])
        self._half = (_PRIOR_ONSETS + earlier.count + known) / 2
        self._logs = self._logs_without([0.0] * len(SCATTER_MODELS), doubted=False)
        self._scatter_alone = _add_logs(self._logs)

    def find_step(self, i: int, least: float = 0.0) -> Found:
        """A step at onset i of its best size; nothing where its evidence is below the least."""
        if self._strokes.free[i]:
            return NOTHING
        return self._find([reading.steps[i] for reading in self._readings], least, doubted=True)

    def find_entry(self, i: int, least: float = 0.0) -> Found:
        """An entry at onset i of its best size; nothing where its evidence is below the least."""
        return self._find([reading.entries[i] for reading in self._readings], least)

    def find_turn(self, i: int) -> Found:
        """Another tempo from onset i on, in seconds a quarter more, and all the evidence for it."""
        return self._find([reading.turns[i] for reading in self._readings], 0.0)

    def weigh_step(self, i: int, size_s: float) -> float:
        """The evidence for a step of a size that was known beforehand."""
        pairs = [reading.steps[i] for reading in self._readings]
        taken = [(2 * pair.pull - pair.weight * size_s) * size_s for pair in pairs]
        logs = self._logs_without(taken, doubted=True, longer=size_s > 0)
        return _add_logs(logs) - self._scatter_alone

    def hear_step(self, i: int) -> list[tuple[float, float]]:
        """What each manner says of a step at onset i: its pull and its weight."""
        return [reading.steps[i] for reading in self._readings]

    def hear_take(self) -> ScatterHeard:
        """How well each manner foretells the take, as it is kept for later ones."""
        return ScatterHeard(
            tuple(reading.prior for reading in self._readings),
            tuple(reading.squares for reading in self._readings),
            sum(not free for free in self._strokes.free[1:]),
        )

    def find_shape(self, shape: Sequence[float], least: float = -inf, most: float = inf) -> Found:
        """A lateness that has some shape over the onsets, times the size within the bounds that
        explains the take best."""
        taken, sizes = [], []
        for reading in self._readings:
            own = _innovate(self._strokes, reading, shape)
            pull, weight = _dot(own, reading.standardised), _dot(own, own)
            size = min(max(pull / weight, least), most) if weight > 0 else 0.0
            sizes.append(size)
            taken.append((2 * pull - weight * size) * size)
        return self._mean(sizes, taken)

    def weigh_beside(
        self,
        shape: Sequence[float],
        others: Sequence[Sequence[float]],
        most: float,
        *,
        is_step: bool,
    ) -> float:
        """The evidence for a lateness of some shape together with the best of others, of which
        there may be none to the most; ``is_step``: the first is one, of which more is asked."""
        taken: list[list[float]] = [[] for _ in others]
        for reading in self._readings:
            take, own = reading.standardised, _innovate(self._strokes, reading, shape)
            pull, weight = _dot(own, take), _dot(own, own)
            for out, other in zip(taken, others, strict=True):
                second = _innovate(self._strokes, reading, other)
                cross, other_pull, other_weight = (_dot(second, x) for x in (own, take, second))
                alone = weight * other_weight - cross * cross
                size = (other_pull * weight - pull * cross) / alone if alone > 0 else 0.0
                size = min(max(size, 0.0), most)
                left = pull - cross * size
                found = left * left / weight if weight > 0 else 0.0
                out.append((2 * other_pull - other_weight * size) * size + found)
        logs = (_add_logs(self._logs_without(one, doubted=is_step)) for one in taken)
        return max(logs) - self._scatter_alone

    def _find(self, pairs: Sequence[_Pair], least: float, *, doubted: bool = False) -> Found:
        taken = [p.pull * p.pull / p.weight if p.weight > 0 else 0.0 for p in pairs]
        # No mixture of readings is surer than the surest of them.
        share = -expm1(-least / self._half) if least > 0 else 0.0
        before = self._earlier.squares
        if all(
            t < share * (_PRIOR_ONSETS + before[k] + self._readings[k].squares)
            for k, t in enumerate(taken)
        ):
            return NOTHING
        sizes = [p.pull / p.weight if p.weight > 0 else 0.0 for p in pairs]
        return self._mean(sizes, taken, doubted=doubted)

    def _mean(
        self, sizes: Sequence[float], taken: Sequence[float], *, doubted: bool = False
    ) -> Found:
        """The mean size, by how likely the manners are once it is taken out, and the evidence."""
        logs = self._logs_without(taken, doubted=doubted, longer=sizes[0] > 0)
        both = _add_logs(logs)
        mean = sum(exp(one - both) * size for one, size in zip(logs, sizes, strict=True))
        return Found(mean, both - self._scatter_alone)

    def _logs_without(
        self, taken: Sequence[float], *, doubted: bool, longer: bool = True
    ) -> list[float]:
        """How well the manners foretell the take once so many squares are explained.

        Once a player is known a shortened length is doubted less, and a longer one as much as
        ever: expression stretches.
        """
        earlier, doubt = self._earlier, float(doubted)
        if not longer:
            doubt *= _PRIOR_ONSETS / (_PRIOR_ONSETS + earlier.count)
        return [
            model.usual
            - doubt * model.doubt
            + earlier.priors[k]
            + reading.prior
            - self._half
            * log(_PRIOR_ONSETS + earlier.squares[k] + max(reading.squares - taken[k], 0.0))
            for k, (model, reading) in enumerate(zip(SCATTER_MODELS, self._readings, strict=True))
        ]


def find_share_again(takes: Sequence[LengthsHeard], at: tuple[Fraction, Fraction]) -> float:
    """How much longer a length was in several takes, as a share of it, as the first manner has
    it: a quick look at whether there is anything to be weighed."""
    pull, weight = _pool(takes, at, 0)
    return pull / weight if weight > 0 else 0.0


def weigh_again(
    takes: Sequence[LengthsHeard], at: tuple[Fraction, Fraction], ratio: Fraction
) -> float:
    """The evidence of several takes together that a length had the same ratio in all of them.

    They are weighed as one long take: one player has one manner, so that it is known better. But
    a player also shapes a phrase in the same way each time, and that doesn't scatter away.
    """
    off = float(ratio) - 1
    expected_s = takes[-1].lengths[at].expected_s
    shaped = _SHAPED_SHARE**2 + (_SHAPED_S / expected_s) ** 2
    count = _PRIOR_ONSETS + sum(take.scatter.count for take in takes)
    alone, changed = [], []
    for k, model in enumerate(SCATTER_MODELS):
        prior = model.usual + sum([take.scatter.priors[k] for take in takes])
        squares = _PRIOR_ONSETS + sum([take.scatter.squares[k] for take in takes])
        pull, weight = _pool(takes, at, k)
        taken = (2 * pull - weight * off) * off / (1 + weight * shaped * count / squares)
        alone.append(prior - count / 2 * log(squares))
        left = max(squares - taken, _PRIOR_ONSETS)
        changed.append(prior - model.doubt - count / 2 * log(left))
    return _add_logs(changed) - _add_logs(alone)


def _pool(
    takes: Sequence[LengthsHeard], at: tuple[Fraction, Fraction], manner: int
) -> tuple[float, float]:
    """Pull and weight, by all takes together, of how much longer it was as a share of itself."""
    pull = weight = 0.0
    for take in takes:
        heard = take.lengths[at]
        pull += heard.pulls[manner] * heard.expected_s
        weight += heard.weights[manner] * heard.expected_s**2
    return pull, weight


def _add_logs(logs: Sequence[float]) -> float:
    """The logarithm of the sum of what these are logarithms of."""
    most = max(logs)
    return most + log(sum([exp(one - most) for one in logs]))


def _read(strokes: Strokes, model: ScatterModel, period_s: float) -> _Reading:
    """The Kalman filter: each onset foretold from those before it; and then back."""
    xs, times, loose, free = strokes
    stroke = model.stroke_s**2
    clock, walk = (model.clock_share * period_s) ** 2, (model.walk_share * period_s) ** 2
    at, period = times[0], period_s
    p_aa, p_ap, p_pp = 1.0, 0.0, (_PERIOD_SHARE * period_s) ** 2
    innovations, variances, gains = [], [], []
    last = len(xs) - 1
    squares = spread = 0.0
    for i, (x, time) in enumerate(zip(xs, times, strict=True)):
        step = xs[i + 1] - x if i < last else 1.0
        variance = p_aa + (stroke * _LOOSE if loose[i] else stroke)
        new = time - at
        gain_a, gain_p = (p_aa + step * p_ap) / variance, p_ap / variance
        innovations.append(new)
        variances.append(variance)
        gains.append((gain_a, gain_p))
        if i and not free[i]:
            squares += new * new / variance
            spread += log(variance)
        at, period = at + step * period + gain_a * new, period + gain_p * new
        moved_a, moved_p = p_aa + step * p_ap, p_ap + step * p_pp
        broken = _FREE if i < last and free[i + 1] else 0.0
        p_aa, p_ap, p_pp = (
            moved_a * (1 - gain_a) + moved_p * step + clock * step * step + broken,
            moved_p - moved_a * gain_p,
            p_pp - p_ap * gain_p + walk * step,
        )
    shocks = _smooth(xs, gains, innovations, variances)
    standardised = [
        new / sqrt(variance) if i and not free[i] else 0.0
        for i, (new, variance) in enumerate(zip(innovations, variances, strict=True))
    ]
    return _Reading(-spread / 2, squares, gains, variances, *shocks, standardised)


def _smooth(
    xs: Sequence[float],
    gains: Sequence[tuple[float, float]],
    innovations: Sequence[float],
    variances: Sequence[float],
) -> tuple[list[_Pair], list[_Pair], list[_Pair]]:
    """The disturbance smoother: what all onsets say of a step, an entry and a turn at each."""
    last = len(xs) - 1
    steps, entries, turns = [], [], []
    r_a = r_p = n_aa = n_ap = n_pp = 0.0
    for i in range(last, -1, -1):
        step = xs[i + 1] - xs[i] if i < last else 1.0
        (gain_a, gain_p), weight = gains[i], 1 / variances[i]
        new = innovations[i] * weight
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
        steps.append(_Pair(r_a, n_aa))
        entries.append(_Pair(alone, alone_n))
        turns.append(_Pair(r_p, n_pp))
    return steps[::-1], entries[::-1], turns[::-1]


def _innovate(strokes: Strokes, reading: _Reading, shape: Sequence[float]) -> list[float]:
    """What the filter would not foretell of a lateness of some shape alone, in units of the
    manner's scatter: the filter is linear, so that it can be held against that of the take."""
    xs, free, last = strokes.xs, strokes.free, len(strokes.xs) - 1
    at = period = 0.0
    out = [0.0] * len(xs)
    for i, value in enumerate(shape):
        step = xs[i + 1] - xs[i] if i < last else 1.0
        new = value - at
        gain_a, gain_p = reading.gains[i]
        if i and not free[i]:
            out[i] = new / sqrt(reading.variances[i])
        at, period = at + step * period + gain_a * new, period + gain_p * new
    return out


def _dot(a: Sequence[float], b: Sequence[float]) -> float:
    total: float = sum(map(mul, a, b))
    return total
