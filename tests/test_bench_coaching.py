"""The coaching benchmark runs, and a fault that always fails is named at once."""

from statistics import NormalDist

import pytest

from coach.playing.simulated.player import SimulatedPianist
from scripts import bench_coaching
from scripts.coachbench import baselines, figures, pianists
from scripts.coachbench.sections import whole
from scripts.coachbench.sessions import coached


def test_a_fault_that_always_fails_is_named_exactly_within_a_few_repetitions() -> None:
    score, faults, pianist = pianists.make(3, 1, chance=1.0)
    target = faults[0].transition
    session = coached(score, pianist(), until_named=frozenset({target}))
    assert session.named[target] <= 4


def test_a_steady_pianist_without_faults_finishes_in_five_and_nothing_is_claimed() -> None:
    score, _, _ = pianists.make(3, 0)
    steady = SimulatedPianist(score, seed=3, level=pianists.STEADY)
    session = coached(score, steady)
    assert (session.repetitions, session.finished, session.named) == (5, True, {})


def test_the_pass_fail_search_finds_it_too_but_hears_only_clean_or_not() -> None:
    score, faults, pianist = pianists.make(3, 1)
    found = baselines.pass_fail_search(score, pianist(), 0.6, 100)
    assert list(found.named) == [faults[0].transition]


def test_two_faults_lie_apart_and_inside_the_section() -> None:
    score, faults, _ = pianists.make(5, 2)
    first, second = sorted(fault.transition.to_quarters for fault in faults)
    assert second - first > 2
    assert second <= whole(score).end_quarters


def test_the_table_is_printed(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.argv", ["bench", "--pianists", "2", "--only", "two"])
    bench_coaching.main()
    assert "two faults" in capsys.readouterr().out


def test_the_learners_ways_are_printed_side_by_side(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.argv", ["bench", "--pianists", "2", "--only", "mending"])
    monkeypatch.setattr(bench_coaching, "MINUTES", 0.5)
    bench_coaching.main()
    said = capsys.readouterr().out
    assert [way for way in bench_coaching.WAYS if f"  {way} " in said] == list(bench_coaching.WAYS)
    assert "finding" in said


def test_a_session_s_time_is_for_finding_until_a_trouble_is_mended_then_for_proving() -> None:
    score, _, pianist = pianists.make(3, 1, chance=1.0, ease=3.0, learns=True)
    spent_s = coached(score, pianist(), most=200).spent_s
    assert set(spent_s) == {"finding", "mending", "proving"}
    score, _, _ = pianists.make(3, 0)
    steady = coached(score, SimulatedPianist(score, seed=3, level=pianists.STEADY))
    assert dict(steady.spent_s) == {"finding": steady.playing_s}


@pytest.mark.outside
@pytest.mark.parametrize(
    ("successes", "attempts", "low", "high"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_wilson_gives_newcombe_s_table(
    successes: int, attempts: int, low: float, high: float
) -> None:
    """Newcombe (1998), Statistics in Medicine 17, 857-872; the table from memory."""
    from scipy import stats  # heavy: only the process that runs this pays for it

    got = figures.wilson(successes, attempts)
    assert got == pytest.approx((low, high), abs=5e-5)
    reference = stats.binomtest(successes, attempts).proportion_ci(method="wilson")
    assert got == pytest.approx((reference.low, reference.high), abs=1e-9)


@pytest.mark.outside
@pytest.mark.parametrize(
    ("successes", "attempts", "low", "high"),
    [(430, 474, 0.8776750858, 0.9301239840), (10, 14, 0.4535045883, 0.8827881209)],
)
def test_wilson_gives_the_vectors_of_published_code(
    successes: int, attempts: int, low: float, high: float
) -> None:
    """Vectors of open-source implementations, for a z of 1.96 rounded so."""
    confidence = 2 * NormalDist().cdf(1.96) - 1
    got = figures.wilson(successes, attempts, confidence)
    assert got == pytest.approx((low, high), abs=1e-9)
