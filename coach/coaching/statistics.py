"""The statistics that the coach decides by, from the standard library alone.

Conventions
-----------
Counts may be fractional where evidence is weighted. Probabilities are 0 to 1. Logarithms are
natural, except for entropy and information, which are in bits.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import ceil, exp, lgamma, log, log1p, log2, sqrt

_TINY = 1e-300


def log_beta(a: float, b: float) -> float:
    """Logarithm of the beta function B(a, b)."""
    return lgamma(a) + lgamma(b) - lgamma(a + b)


def log_beta_binomial(fails: float, attempts: float, a: float, b: float) -> float:
    """Log probability of one order of ``fails`` among ``attempts``, the chance being Beta(a, b).

    No binomial coefficient: it cancels wherever two explanations of the same counts are compared.
    """
    return log_beta(a + fails, b + attempts - fails) - log_beta(a, b)


def beta_cdf(x: float, a: float, b: float) -> float:
    """P(X <= x) for X ~ Beta(a, b): the regularised incomplete beta function.

    By its continued fraction (Lentz's method; Numerical Recipes' form of Abramowitz and Stegun
    26.5.8), mirrored where that converges faster.
    """
    if x <= 0.0:
        return 0.0
    if x >= 1.0:
        return 1.0
    if x > (a + 1) / (a + b + 2):
        return 1.0 - beta_cdf(1.0 - x, b, a)
    front = exp(a * log(x) + b * log1p(-x) - log_beta(a, b)) / a
    return front * _beta_fraction(x, a, b)


def _beta_fraction(x: float, a: float, b: float) -> float:
    c, d = 1.0, 1.0 / _away_from_zero(1.0 - (a + b) * x / (a + 1))
    value = d
    for m in range(1, 500):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        for term in (even, odd):
            d = 1.0 / _away_from_zero(1.0 + term * d)
            c = _away_from_zero(1.0 + term / c)
            value *= c * d
        if abs(c * d - 1.0) < 1e-15:
            break
    return value


def _away_from_zero(value: float) -> float:
    return value if abs(value) > _TINY else _TINY


def beta_quantile(p: float, a: float, b: float) -> float:
    """The x at which ``beta_cdf(x, a, b)`` is ``p``, by bisection to the last bit."""
    low, high = 0.0, 1.0
    for _ in range(200):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        if beta_cdf(middle, a, b) < p:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def wilson(successes: int, attempts: int, confidence: float = 0.95) -> tuple[float, float]:
    """Wilson's score interval for a proportion (Wilson 1927; Newcombe 1998).

    (0, 1) where nothing was attempted.
    """
    if attempts == 0:
        return 0.0, 1.0
    z = normal_quantile(0.5 + confidence / 2)
    p, zz = successes / attempts, z * z / attempts
    centre = (p + zz / 2) / (1 + zz)
    half = z * sqrt(p * (1 - p) / attempts + zz / (4 * attempts)) / (1 + zz)
    return max(centre - half, 0.0), min(centre + half, 1.0)


def exact_interval(successes: int, attempts: int, confidence: float = 0.95) -> tuple[float, float]:
    """The exact (Clopper and Pearson 1934) interval for a proportion."""
    tail = (1 - confidence) / 2
    failures = attempts - successes
    low = beta_quantile(tail, successes, failures + 1) if successes else 0.0
    high = beta_quantile(1 - tail, successes + 1, failures) if failures else 1.0
    return low, high


@lru_cache(maxsize=16)
def normal_quantile(p: float) -> float:
    """The standard normal's quantile, through the standard library."""
    from statistics import NormalDist

    return NormalDist().inv_cdf(p)


@dataclass(frozen=True)
class Sprt:
    """Wald's sequential test of a failure rate: ``low`` (accept) against ``high`` (reject).

    ``alpha`` is the risk of rejecting at ``low``, ``beta`` that of accepting at ``high`` (Wald
    1945; NIST/SEMATECH e-Handbook 6.2.6).
    """

    low: float
    high: float
    alpha: float
    beta: float

    @property
    def per_fail(self) -> float:
        """What a failure adds to the log likelihood ratio of ``high`` over ``low``."""
        return log(self.high / self.low)

    @property
    def per_pass(self) -> float:
        """What a pass adds (negative)."""
        return log((1 - self.high) / (1 - self.low))

    @property
    def reject_at(self) -> float:
        """Log likelihood ratio from which the rate is taken to be ``high``."""
        return log((1 - self.beta) / self.alpha)

    @property
    def accept_at(self) -> float:
        """Log likelihood ratio down from which the rate is taken to be ``low``."""
        return log(self.beta / (1 - self.alpha))

    def verdict(self, fails: float, attempts: float) -> bool | None:
        """True: accept the low rate; False: reject it; None: go on."""
        ratio = fails * self.per_fail + (attempts - fails) * self.per_pass
        if ratio >= self.reject_at:
            return False
        return True if ratio <= self.accept_at else None

    def passes_to_accept(self, fails: float = 0.0) -> int:
        """Passes that it takes to accept, with so many failures on the way."""
        return max(ceil((self.accept_at - fails * self.per_fail) / self.per_pass - 1e-12), 0)


def passes_to_show(reliability: float, confidence: float) -> int:
    """Passes without a failure that show a reliability: ceil(ln(1 - C) / ln R)."""
    return ceil(log(1 - confidence) / log(reliability))


def expected_until_run(p_clean: float, run: int) -> float:
    """Expected repetitions until so many clean ones come in a row: (1 - p^r) / (p^r (1 - p))."""
    if p_clean >= 1.0:
        return float(run)
    power = p_clean**run
    return (1 - power) / (power * (1 - p_clean))


def chance_of_run(p_clean: float, run: int, attempts: int) -> float:
    """Chance of so many clean repetitions in a row within ``attempts``."""
    running = [1.0] + [0.0] * (run - 1)
    done = 0.0
    for _ in range(attempts):
        done += running[-1] * p_clean
        running = [sum(running) * (1 - p_clean)] + [x * p_clean for x in running[:-1]]
    return done


def entropy_bits(probabilities: Iterable[float]) -> float:
    """Shannon's entropy, in bits."""
    return -sum(p * log2(p) for p in probabilities if p > 0.0)


def normalised(weights: Sequence[float]) -> list[float]:
    """Weights scaled to sum to one."""
    total = sum(weights)
    return [weight / total for weight in weights]


def information_bits(prior: Sequence[float], likelihoods: Sequence[Sequence[float]]) -> float:
    """Expected bits that an observation tells about which hypothesis holds.

    ``likelihoods[h][x]`` is the chance of outcome x under hypothesis h; each row sums to one.
    """
    outcomes = range(len(likelihoods[0]))
    marginal = [
        sum(p * row[x] for p, row in zip(prior, likelihoods, strict=True)) for x in outcomes
    ]
    noise = sum(p * entropy_bits(row) for p, row in zip(prior, likelihoods, strict=True))
    return entropy_bits(marginal) - noise


def bayes(prior: Sequence[float], likelihood: Callable[[int], float]) -> list[float]:
    """Posterior over the hypotheses 0, 1, ... from each one's likelihood of what was seen."""
    return normalised([p * likelihood(h) for h, p in enumerate(prior)])
