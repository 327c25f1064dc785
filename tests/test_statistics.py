"""The coach's statistics, against published tables and scipy.

Sources are named beside each check; "from memory" where the table was not read again.
"""

from math import comb, log

import pytest
from scipy import stats

from coach.coaching import statistics as ours

pytestmark = pytest.mark.outside


@pytest.mark.parametrize(
    ("successes", "attempts", "low", "high"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_wilson_gives_newcombe_s_table(successes, attempts, low, high):
    """Newcombe (1998), Statistics in Medicine 17, 857-872; the table from memory."""
    got = ours.wilson(successes, attempts)
    assert got == pytest.approx((low, high), abs=5e-5)
    reference = stats.binomtest(successes, attempts).proportion_ci(method="wilson")
    assert got == pytest.approx((reference.low, reference.high), abs=1e-9)


def test_the_exact_interval_gives_nist_s_example():
    """NIST/SEMATECH e-Handbook 7.2.4.2: 4 of 20 at 90 %; limits from memory, scipy agrees."""
    got = ours.exact_interval(4, 20, confidence=0.90)
    assert got == pytest.approx((0.071354, 0.401028), abs=1e-6)
    reference = stats.binomtest(4, 20).proportion_ci(confidence_level=0.9, method="exact")
    assert got == pytest.approx((reference.low, reference.high), abs=1e-8)


@pytest.mark.parametrize(
    ("x", "a", "b"), [(0.2, 1, 1), (0.9, 8, 4), (0.01, 0.5, 30), (0.5, 40, 41)]
)
def test_the_beta_distribution_is_scipy_s(x, a, b):
    assert ours.beta_cdf(x, a, b) == pytest.approx(stats.beta.cdf(x, a, b), abs=1e-10)
    assert ours.beta_quantile(x, a, b) == pytest.approx(stats.beta.ppf(x, a, b), abs=1e-8)


def test_seven_of_ten_from_a_uniform_prior():
    """Beta(8, 4): 95 % between .3903 and .8907, P(p > .8) = .1611 (worked example)."""
    assert ours.beta_quantile(0.025, 8, 4) == pytest.approx(0.3903, abs=5e-5)
    assert ours.beta_quantile(0.975, 8, 4) == pytest.approx(0.8907, abs=5e-5)
    assert 1 - ours.beta_cdf(0.8, 8, 4) == pytest.approx(0.1611, abs=5e-5)


@pytest.mark.parametrize(("fails", "chance"), enumerate([0.054945, 0.219780, 0.395604, 0.329670]))
def test_the_beta_binomial_predicts_the_next_three(fails, chance):
    """From Beta(8, 4), successes among the next three (worked example; scipy agrees)."""
    got = comb(3, fails) * 2.718281828459045 ** ours.log_beta_binomial(fails, 3, 8, 4)
    assert got == pytest.approx(chance, abs=1e-5)
    assert got == pytest.approx(stats.betabinom.pmf(fails, 3, 8, 4), abs=1e-9)


class TestWaldSSequentialTest:
    """NIST/SEMATECH e-Handbook 6.2.6: p1 = .01, p2 = .10, alpha = .05, beta = .10."""

    nist = ours.Sprt(low=0.01, high=0.10, alpha=0.05, beta=0.10)

    def test_its_constants(self):
        k = self.nist.per_fail - self.nist.per_pass
        assert -self.nist.accept_at / k == pytest.approx(0.9389, abs=5e-5)
        assert self.nist.reject_at / k == pytest.approx(1.2054, abs=5e-5)
        assert -self.nist.per_pass / k == pytest.approx(0.03975, abs=5e-6)

    @pytest.mark.parametrize(
        ("attempts", "accept", "reject"),
        [(2, None, 2), (20, None, 3), (24, 0, 3), (46, 0, 4), (49, 1, 4), (74, 2, 5), (100, 3, 6)],
    )
    def test_its_table(self, attempts, accept, reject):
        accepted = [f for f in range(9) if self.nist.verdict(f, attempts) is True]
        rejected = [f for f in range(9) if self.nist.verdict(f, attempts) is False]
        assert (max(accepted, default=None), min(rejected)) == (accept, reject)

    def test_five_clean_running_accept_and_two_failures_reject(self):
        """Clean .9 against .5, risks .05 of taking .5 for .9 and .10 of the other way."""
        rule = ours.Sprt(low=0.1, high=0.5, alpha=0.10, beta=0.05)
        assert (rule.accept_at, rule.reject_at) == pytest.approx((-2.8904, 2.2513), abs=5e-5)
        assert (rule.per_pass, rule.per_fail) == pytest.approx((-0.5878, 1.6094), abs=5e-5)
        assert [rule.verdict(0, n) for n in (4, 5)] == [None, True]
        assert [rule.verdict(n, n) for n in (1, 2)] == [None, False]
        assert rule.passes_to_accept() == 5


@pytest.mark.parametrize(
    ("reliability", "confidence", "passes"),
    [(0.5, 0.95, 5), (0.8, 0.95, 14), (0.9, 0.90, 22), (0.9, 0.95, 29), (0.999, 0.95, 2995)],
)
def test_clean_ones_that_show_a_reliability(reliability, confidence, passes):
    """Zero failures: n = ln(1 - C) / ln R, rounded up (the last row is published)."""
    assert ours.passes_to_show(reliability, confidence) == passes


@pytest.mark.parametrize(
    ("p_clean", "run", "repetitions"),
    [(0.8, 3, 4.7656), (0.8, 5, 10.2588), (0.5, 3, 14), (0.5, 5, 62)],
)
def test_repetitions_until_a_clean_run(p_clean, run, repetitions):
    """(1 - p^r) / (p^r (1 - p)): why half-right playing has to be made easier."""
    assert ours.expected_until_run(p_clean, run) == pytest.approx(repetitions, abs=1e-4)


@pytest.mark.parametrize(("p_clean", "chance"), [(0.5, 0.5078), (0.8, 0.9562)])
def test_the_chance_of_three_running_within_ten(p_clean, chance):
    assert ours.chance_of_run(p_clean, 3, 10) == pytest.approx(chance, abs=5e-5)


class TestEightTransitions:
    """Bayes' rule on eight transitions, failing .9 where the fault is in the window, else .1."""

    @staticmethod
    def heard(prior, window, failed):
        def likelihood(i):
            fails = 0.9 if i in window else 0.1
            return fails if failed else 1 - fails

        return ours.bayes(prior, likelihood)

    def test_the_worked_example(self):
        belief = self.heard([1 / 8] * 8, {0, 1, 2, 3}, failed=True)
        assert belief == pytest.approx([0.225] * 4 + [0.025] * 4)
        assert ours.entropy_bits(belief) == pytest.approx(2.468996, abs=1e-6)
        belief = self.heard(belief, {0, 1}, failed=False)
        assert belief[2:4] == pytest.approx([0.375, 0.375])
        assert ours.entropy_bits(belief) == pytest.approx(2.207519, abs=1e-6)
        belief = self.heard(belief, {2}, failed=True)
        assert belief[2:4] == pytest.approx([0.84375, 0.09375])
        assert ours.entropy_bits(belief) == pytest.approx(0.938534, abs=1e-6)

    def test_an_even_split_tells_the_channel_s_capacity(self):
        """1 - H(.1) = .531 bits (Shannon)."""
        rows = [[0.9, 0.1]] * 4 + [[0.1, 0.9]] * 4
        bits = ours.information_bits([1 / 8] * 8, rows)
        assert bits == pytest.approx(0.531004, abs=1e-6)


def test_entropy_of_a_slip():
    assert ours.entropy_bits([0.1, 0.9]) == pytest.approx(0.468996, abs=1e-6)
    assert ours.entropy_bits([0.5, 0.5]) == pytest.approx(-log(0.5) / log(2))
