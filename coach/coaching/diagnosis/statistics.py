"""Beta-binomial, Bayes' rule, entropy, and the sequential probability ratio test (Wald 1945).

From the standard library alone.

Conventions
-----------
Counts may be fractional where evidence is weighted. Probabilities are 0 to 1. Logarithms are
natural, except for entropy and information, which are in bits.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import exp, lgamma, log, log2


def log_beta(a: float, b: float) -> float:
    """Logarithm of the beta function B(a, b)."""
    return lgamma(a) + lgamma(b) - lgamma(a + b)


def log_beta_binomial(fails: float, attempts: float, a: float, b: float) -> float:
    """Log probability of one order of ``fails`` among ``attempts``, the chance being Beta(a, b).

    No binomial coefficient: it cancels wherever two explanations of the same counts are compared.
    """
    return log_beta(a + fails, b + attempts - fails) - log_beta(a, b)


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


def entropy_bits(probabilities: Iterable[float]) -> float:
    """Shannon's entropy, in bits."""
    return -sum(p * log2(p) for p in probabilities if p > 0.0)


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


def posterior_probabilities(
    prior: Sequence[float], log_likelihoods: Sequence[float]
) -> list[float]:
    """Bayes' rule: the hypotheses' chances, from each one's log likelihood of what was seen."""
    top = max(log_likelihoods)
    weights = [p * exp(x - top) for p, x in zip(prior, log_likelihoods, strict=True)]
    total = sum(weights)
    return [weight / total for weight in weights]
