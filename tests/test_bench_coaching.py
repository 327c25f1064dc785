"""The coaching benchmark runs, and a fault that always fails is named at once."""

import pytest

from coach.playing.simulated import SimulatedPianist
from scripts import bench_coaching
from scripts.coachbench import baselines, pianists
from scripts.coachbench.sections import whole
from scripts.coachbench.sessions import coached


def test_a_fault_that_always_fails_is_named_exactly_within_a_few_repetitions():
    score, faults, pianist = pianists.make(3, 1, chance=1.0)
    target = faults[0].transition
    session = coached(score, pianist(), until_named=frozenset({target}))
    assert session.named[target] <= 4


def test_a_steady_pianist_without_faults_finishes_in_three_and_nothing_is_claimed():
    score, _, _ = pianists.make(3, 0)
    steady = SimulatedPianist(score, seed=3, level=pianists.STEADY)
    session = coached(score, steady)
    assert (session.repetitions, session.finished, session.named) == (3, True, {})


def test_the_pass_fail_search_finds_it_too_but_hears_only_clean_or_not():
    score, faults, pianist = pianists.make(3, 1)
    found = baselines.pass_fail_search(score, pianist(), 0.6, 100)
    assert list(found.named) == [faults[0].transition]


def test_two_faults_lie_apart_and_inside_the_section():
    score, faults, _ = pianists.make(5, 2)
    first, second = sorted(fault.transition.to_quarters for fault in faults)
    assert second - first > 2
    assert second <= whole(score).end_quarters


def test_the_table_is_printed(monkeypatch: pytest.MonkeyPatch, capsys):
    monkeypatch.setattr("sys.argv", ["bench", "--pianists", "2", "--only", "two"])
    bench_coaching.main()
    assert "two faults" in capsys.readouterr().out


def test_the_learners_ways_are_printed_side_by_side(monkeypatch: pytest.MonkeyPatch, capsys):
    monkeypatch.setattr("sys.argv", ["bench", "--pianists", "2", "--only", "mending"])
    monkeypatch.setattr(bench_coaching, "MINUTES", 0.5)
    bench_coaching.main()
    said = capsys.readouterr().out
    assert [way for way in bench_coaching.WAYS if f"  {way} " in said] == list(bench_coaching.WAYS)
    assert "finding" in said


def test_a_session_s_time_is_for_finding_until_a_trouble_is_mended_then_for_proving():
    score, _, pianist = pianists.make(3, 1, chance=1.0, ease=3.0, learns=True)
    spent_s = coached(score, pianist(), most=200).spent_s
    assert set(spent_s) == {"finding", "mending", "proving"}
    score, _, _ = pianists.make(3, 0)
    steady = coached(score, SimulatedPianist(score, seed=3, level=pianists.STEADY))
    assert dict(steady.spent_s) == {"finding": steady.playing_s}
