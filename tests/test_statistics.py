"""The coach's statistics, against published tables and scipy.

Sources are named beside each check; "from memory" where the table was not read again.
"""

from collections.abc import Callable, Sequence
from math import comb, log

import pytest

from coach.coaching.diagnosis import statistics as ours

pytestmark = pytest.mark.outside


@pytest.mark.parametrize(("fails", "chance"), enumerate([0.054945, 0.219780, 0.395604, 0.329670]))
def test_the_beta_binomial_predicts_the_next_three(fails: int, chance: float) -> None:
    """From Beta(8, 4), successes among the next three (worked example; scipy agrees)."""
    from scipy import stats  # heavy: only the process that runs this pays for it

    got = comb(3, fails) * 2.718281828459045 ** ours.log_beta_binomial(fails, 3, 8, 4)
    assert got == pytest.approx(chance, abs=1e-5)
    assert got == pytest.approx(stats.betabinom.pmf(fails, 3, 8, 4), abs=1e-9)


def realised(
    verdict: Callable[[int, int], bool | None], fail_chance: float, most: int = 4000
) -> tuple[float, float, float]:
    """Chance of accepting, chance of rejecting and mean attempts of a sequential rule, exactly.

    ``verdict(fails, attempts)`` is True (accept), False (reject) or None (go on).
    """
    going = {0: 1.0}
    accepted = rejected = attempts = 0.0
    for n in range(1, most + 1):
        attempts += sum(going.values())
        after: dict[int, float] = {}
        for fails, chance in going.items():
            after[fails] = after.get(fails, 0.0) + chance * (1 - fail_chance)
            after[fails + 1] = after.get(fails + 1, 0.0) + chance * fail_chance
        said = {fails: verdict(fails, n) for fails in after}
        accepted += sum(chance for fails, chance in after.items() if said[fails] is True)
        rejected += sum(chance for fails, chance in after.items() if said[fails] is False)
        going = {fails: chance for fails, chance in after.items() if said[fails] is None}
    return accepted, rejected, attempts


def test_the_yardstick_gives_clast_s_published_risks() -> None:
    """Lloyd (2020), R package CLAST: looks after 5, 11, 16 and 25; .4 against .75.

    Up to (2, 4, 5, 12) responses accept, from (5, 9, 11, 13) on reject. This checks ``realised``,
    by which our own rules are measured below.
    """
    bounds = {5: (2, 5), 11: (4, 9), 16: (5, 11), 25: (12, 13)}

    def verdict(responses: int, attempts: int) -> bool | None:
        low, high = bounds.get(attempts, (-1, attempts + 1))
        return True if responses <= low else False if responses >= high else None

    assert realised(verdict, 0.4, 25)[1] == pytest.approx(0.09590162, abs=5e-9)
    assert realised(verdict, 0.75, 25)[0] == pytest.approx(0.1060701, abs=5e-8)


class TestWaldSSequentialTest:
    """NIST/SEMATECH e-Handbook 6.2.6: p1 = .01, p2 = .10, alpha = .05, beta = .10."""

    nist = ours.Sprt(low=0.01, high=0.10, alpha=0.05, beta=0.10)

    def test_its_constants(self) -> None:
        k = self.nist.per_fail - self.nist.per_pass
        assert -self.nist.accept_at / k == pytest.approx(0.9389, abs=5e-5)
        assert self.nist.reject_at / k == pytest.approx(1.2054, abs=5e-5)
        assert -self.nist.per_pass / k == pytest.approx(0.03975, abs=5e-6)

    @pytest.mark.parametrize(
        ("attempts", "accept", "reject"),
        [
            (2, None, 2),
            (20, None, 3),
            (24, 0, 3),
            (46, 0, 4),
            (49, 1, 4),
            (71, 1, 5),
            (74, 2, 5),
            (96, 2, 6),
            (100, 3, 6),
        ],
    )
    def test_its_table(self, attempts: int, accept: int | None, reject: int) -> None:
        accepted = [f for f in range(9) if self.nist.verdict(f, attempts) is True]
        rejected = [f for f in range(9) if self.nist.verdict(f, attempts) is False]
        assert (max(accepted, default=None), min(rejected)) == (accept, reject)

    def test_its_worked_example_rejects_at_the_third_failure(self) -> None:
        """The reliability package's documentation: failures at 14, 32 and 38 reject at 38."""
        failures = (14, 32, 38)
        said = [self.nist.verdict(sum(f <= n for f in failures), n) for n in range(1, 39)]
        assert said[37] is False
        assert set(said[:37]) == {None}

    @pytest.mark.parametrize(
        ("rate", "accepted", "attempts"),
        [(0.01, 0.97795, 30.21), (0.10, 1 - 0.90042, 22.37), (0.04, 0.6147, None)],
    )
    def test_its_realised_risks(self, rate: float, accepted: float, attempts: float | None) -> None:
        """Exact, by recursion over all courses; both risks lie within those asked for."""
        got, rejected, mean = realised(self.nist.verdict, rate)
        assert got == pytest.approx(accepted, abs=5e-5)
        assert got + rejected == pytest.approx(1, abs=1e-9)
        assert attempts is None or mean == pytest.approx(attempts, abs=0.005)

    @pytest.mark.parametrize(
        ("p_clean", "mistaken", "repetitions"), [(0.5, 0.0466, 5.28), (0.9, 0.0523, 7.37)]
    )
    def test_realised_risks_of_five_clean_running(
        self, p_clean: float, mistaken: float, repetitions: float
    ) -> None:
        rule = ours.Sprt(low=0.1, high=0.5, alpha=0.10, beta=0.05)
        accepted, rejected, mean = realised(rule.verdict, 1 - p_clean)
        assert (accepted if p_clean < 0.7 else rejected) == pytest.approx(mistaken, abs=5e-5)
        assert mean == pytest.approx(repetitions, abs=0.005)

    @pytest.mark.parametrize(
        ("worse", "better", "beta", "clean", "unclean"),
        [(0.5, 0.9, 0.05, 6, 2), (0.6, 0.9, 0.05, 8, 3), (0.7, 0.95, 0.10, 10, 2)],
    )
    def test_runs_that_decide_between_other_rates(
        self, worse: float, better: float, beta: float, clean: int, unclean: int
    ) -> None:
        """Clean ones running that accept, unclean ones that reject; risk .05 of accepting."""
        rule = ours.Sprt(low=1 - better, high=1 - worse, alpha=beta, beta=0.05)
        assert [rule.verdict(0, n) for n in (clean - 1, clean)] == [None, True]
        assert [rule.verdict(n, n) for n in (unclean - 1, unclean)] == [None, False]

    def test_five_clean_running_accept_and_two_failures_reject(self) -> None:
        """Clean .9 against .5, risks .05 of taking .5 for .9 and .10 of the other way."""
        rule = ours.Sprt(low=0.1, high=0.5, alpha=0.10, beta=0.05)
        assert (rule.accept_at, rule.reject_at) == pytest.approx((-2.8904, 2.2513), abs=5e-5)
        assert (rule.per_pass, rule.per_fail) == pytest.approx((-0.5878, 1.6094), abs=5e-5)
        assert [rule.verdict(0, n) for n in (4, 5)] == [None, True]
        assert [rule.verdict(n, n) for n in (1, 2)] == [None, False]


class TestEightTransitions:
    """Bayes' rule on eight transitions, failing .9 where the fault is in the window, else .1."""

    @staticmethod
    def heard(prior: Sequence[float], window: set[int], failed: bool) -> list[float]:
        fails = [0.9 if i in window else 0.1 for i in range(8)]
        return ours.posterior_probabilities(prior, [log(p if failed else 1 - p) for p in fails])

    def test_the_worked_example(self) -> None:
        belief = self.heard([1 / 8] * 8, {0, 1, 2, 3}, failed=True)
        assert belief == pytest.approx([0.225] * 4 + [0.025] * 4)
        assert ours.entropy_bits(belief) == pytest.approx(2.468996, abs=1e-6)
        belief = self.heard(belief, {0, 1}, failed=False)
        assert belief[2:4] == pytest.approx([0.375, 0.375])
        assert ours.entropy_bits(belief) == pytest.approx(2.207519, abs=1e-6)
        belief = self.heard(belief, {2}, failed=True)
        assert belief[2:4] == pytest.approx([0.84375, 0.09375])
        assert ours.entropy_bits(belief) == pytest.approx(0.938534, abs=1e-6)

    def test_an_even_split_tells_the_channel_s_capacity(self) -> None:
        """1 - H(.1) = .531 bits (Shannon)."""
        rows = [[0.9, 0.1]] * 4 + [[0.1, 0.9]] * 4
        bits = ours.information_bits([1 / 8] * 8, rows)
        assert bits == pytest.approx(0.531004, abs=1e-6)


def test_entropy_of_a_slip() -> None:
    assert ours.entropy_bits([0.1, 0.9]) == pytest.approx(0.468996, abs=1e-6)
    assert ours.entropy_bits([0.5, 0.5]) == pytest.approx(-log(0.5) / log(2))
