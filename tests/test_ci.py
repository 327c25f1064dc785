"""Continuous integration sums up what was run, and fails where anything failed."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from scripts import ci, fuzzes
from scripts.ci import Counts


@pytest.mark.parametrize(
    ("line", "counts"),
    [
        ("1034 passed, 2 skipped in 230.12s (0:03:50)", Counts(1034, 0, 2)),
        ("3 failed, 1031 passed, 1 error in 12.00s", Counts(1031, 4)),
        ("2 errors in 1.02s", Counts(0, 2)),
        ("packages: 4 passed, 0 failed", Counts(4)),
        ("bars 3 and 4 were passed over", None),
        ("........ [ 25%]", None),
    ],
)
def test_a_line_that_sums_up_is_read(line: str, counts: Counts | None) -> None:
    assert ci.counts_in(line) == counts


@pytest.mark.parametrize(
    ("program", "counts"),
    [
        ("print('5 passed, 0 failed')", Counts(5)),
        ("print('5 passed in 1s'); raise SystemExit(1)", Counts(5, 1)),  # style, before the tests
        ("print('4 passed, 1 failed'); raise SystemExit(1)", Counts(4, 1)),
        ("raise SystemExit(3)", Counts(0, 1)),
    ],
)
def test_a_part_that_fails_is_counted(program: str, counts: Counts) -> None:
    assert ci.run([sys.executable, "-c", program]) == counts


def test_a_part_that_is_not_there_has_failed() -> None:
    assert ci.run(["/nowhere/python"]) == Counts(0, 1)


@pytest.mark.parametrize("failing", ["tests", "wide", "packages", "fuzzes"])
def test_whatever_part_finds_something_holds_the_change_up(
    failing: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def run(command: list[str]) -> Counts:
        words = " ".join(command)
        names = {
            "tests": "scripts/test.py",
            "wide": "-m wide",
            "packages": "check_packages",
            "fuzzes": "fuzzes",
        }
        return Counts(4, 1) if names[failing] in words else Counts(5)

    monkeypatch.setattr(ci, "run", run)
    monkeypatch.setattr(sys, "argv", ["ci.py"])
    assert ci.main() == 1
    assert capsys.readouterr().out.endswith("ci: 19 passed, 1 failed\n")


def test_the_last_line_is_plain() -> None:
    assert str(Counts(7)) == "7 passed, 0 failed"
    assert str(Counts(7, 1, 2)) == "7 passed, 1 failed, 2 skipped"


def fuzz(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, body: str) -> fuzzes.Ran:
    """A fuzz of one line, run as the real ones are."""
    (tmp_path / "scripts").mkdir()
    (tmp_path / "scripts/__init__.py").touch()
    (tmp_path / "scripts/fuzz_it.py").write_text(body)
    monkeypatch.setattr(fuzzes, "PROJECT", tmp_path)
    monkeypatch.setattr(fuzzes, "GRACE_S", 1.0)
    return fuzzes.run("fuzz_it", minutes=0.0, seed=5)


def test_a_fuzz_that_finds_nothing_has_passed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    last = "print('gone', file=sys.stderr, flush=True)"
    ran = fuzz(tmp_path, monkeypatch, f"import sys; print(*sys.argv[1:], flush=True); {last}")
    assert ran.passed
    assert ran.told().endswith("--minutes=0.0 --seed=5")


def test_what_a_fuzz_finds_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ran = fuzz(tmp_path, monkeypatch, "print('round 3')\nprint('FAILURE at round 3')\nexit(1)")
    assert not ran.passed
    assert "FAILURE at round 3" in ran.told()


def test_a_fuzz_that_does_not_end_is_ended(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ran = fuzz(tmp_path, monkeypatch, "import time; time.sleep(60)")
    assert not ran.passed
    assert ran.seconds < 30
    assert "had to be ended" in ran.told()


@pytest.mark.parametrize(
    "file", sorted(fuzzes.PROJECT.glob("scripts/fuzz_*.py")), ids=lambda file: file.stem
)
def test_every_fuzz_can_be_run_with_the_others_and_a_round_of_it_again(file: Path) -> None:
    command = [sys.executable, "-m", f"scripts.{file.stem}", "--help"]
    done = subprocess.run(command, cwd=fuzzes.PROJECT, capture_output=True, text=True, check=True)
    assert {"--minutes", "--seed", "--round"} <= set(done.stdout.split())
