"""Finding a fault among many places, against published bounds and tables."""

from math import log
from random import Random
from statistics import fmean

import pytest

from coach.coaching.diagnosis import statistics as ours
from coach.judging.model import Outcome
from coach.score.build import score_from_notes
from coach.score.model import Hands
from tests.test_diagnosis import Ear

pytestmark = pytest.mark.outside


@pytest.mark.parametrize(
    ("noise", "capacity"), [(0.05, 0.713603), (0.1, 0.531004), (0.11, 0.500084), (0.2, 0.278072)]
)
def test_what_a_noisy_answer_can_tell_at_most(noise: float, capacity: float) -> None:
    """Shannon's capacity of a binary symmetric channel: 1 - H(p)."""
    assert 1 - ours.entropy_bits([noise, 1 - noise]) == pytest.approx(capacity, abs=1e-6)


def noisy_search(random: Random, places: int, noise: float, sure: float = 0.95) -> tuple[int, bool]:
    """Clean or not, of the first few places: until one is sure; repetitions, and whether right."""
    fault, belief, asked = random.randrange(places), [1 / places] * places, 0

    def chances(cut: int) -> list[list[float]]:
        return [[1 - noise, noise] if h < cut else [noise, 1 - noise] for h in range(places)]

    while max(belief) < sure:
        cut = max(range(1, places), key=lambda cut: ours.information_bits(belief, chances(cut)))
        failed = (fault < cut) != (random.random() < noise)
        asked += 1
        heard = [log(row[0 if failed else 1]) for row in chances(cut)]
        belief = ours.posterior_probabilities(belief, heard)
    return asked, belief.index(max(belief)) == fault


def test_noisy_bisection_lies_between_the_published_bounds() -> None:
    """16 places, one answer in ten wrong: at least log2(n) / C = 7.5, at most
    (log2 n + log2 1/d + 3) / C = 21.3 repetitions (Dereniowski and others, arXiv; Ben-Or and
    Hassidim, FOCS 2008; abstracts read), and right as often as it is sure.
    """
    random = Random(46)
    found = [noisy_search(random, 16, 0.1) for _ in range(250)]
    assert 7.5 <= fmean(asked for asked, _ in found) <= 21.3
    assert fmean(asked for asked, _ in found) == pytest.approx(8.7, abs=0.6)  # worked example
    assert fmean(right for _, right in found) >= 0.95


MID = {
    (3, 3, 5): {1, 2, 3, 4, 6, 7, 13},
    (1, 2, 3): {1, 2, 3, 4, 5, 13},
    (3, 2, 1): {1, 2, 3, 8, 9, 10, 13},
    (5, 5, 5): {1, 2, 3, 8, 9, 11, 13},
    (5, 3, 4): {1, 2, 3, 4, 6, 13},
    (2, 1, 3): {1, 2, 3, 4, 6, 7, 13},
}
"""Lines that each test of ``mid`` runs through; the last one fails, and line 7 is the faulty one.

Jones and Harrold (2005), ASE; the lines from memory, their counts as published."""
FAILING = (2, 1, 3)


def spectrum(line: int) -> tuple[int, int]:
    """In how many passing and failing tests a line ran."""
    passed = sum(line in lines for test, lines in MID.items() if test != FAILING)
    return passed, int(line in MID[FAILING])


def tarantula(passed: int, failed: int) -> float:
    return failed / (failed + passed / 5) if failed else 0.0


def ochiai(passed: int, failed: int) -> float:
    return failed / (failed + passed) ** 0.5 if failed else 0.0


@pytest.mark.parametrize(
    ("line", "counts", "by_tarantula", "by_ochiai"),
    [
        (1, (5, 1), 0.5, 0.4082),
        (4, (3, 1), 0.625, 0.5),
        (6, (2, 1), 0.7143, 0.5774),
        (7, (1, 1), 0.8333, 0.7071),
        (9, (2, 0), 0.0, 0.0),
    ],
)
def test_the_published_table(
    line: int, counts: tuple[int, int], by_tarantula: float, by_ochiai: float
) -> None:
    """Tarantula: Jones and Harrold (2005); Ochiai: Abreu and others (2007); from memory."""
    assert spectrum(line) == counts
    assert tarantula(*counts) == pytest.approx(by_tarantula, abs=5e-5)
    assert ochiai(*counts) == pytest.approx(by_ochiai, abs=5e-5)


def test_the_coach_suspects_what_the_published_table_suspects() -> None:
    """Every line a beat, every test a repetition through some of them; the failing one is unclean
    in every beat that it went through, as a tester knows no more: line 7 comes first, and the
    others in the table's order.
    """
    notes = [{"pitch": 60 + k % 5, "onset": k, "length": 1, "hand": "RH"} for k in range(14)]
    ear = Ear(score_from_notes(notes))
    for test, lines in MID.items():
        ran = Outcome.WRONG if test == FAILING else Outcome.CLEAN
        outcomes = {(Hands.RIGHT, k): ran if k in lines else Outcome.NOT_REACHED for k in range(14)}
        # One line's beat at a time: in a row of failures only the first would count in full.
        for place, outcome in outcomes.items():
            others = dict.fromkeys(outcomes, Outcome.NOT_REACHED)
            ear.repetition(others | {place: outcome}, hands=Hands.RIGHT)
    suspects = [int(s.transition.to_quarters) for s in ear.diagnosis.suspects]
    assert suspects[0] == 7
    ranked = [tarantula(*spectrum(line)) for line in suspects]
    assert ranked == sorted(ranked, reverse=True)
    assert not {5, 8, 9, 10, 11, 12} & set(suspects)
