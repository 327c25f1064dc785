"""What continuous integration runs once the system's parts are there.

The tests, the wide cases of laws that those leave out, the packages and the fuzzes.

    python3 scripts/ci.py                       # everything: twenty minutes on two cores
    python3 scripts/ci.py tests/test_window.py  # only these tests

Each part is run whatever came of the others. The last line sums up, in the form in which the parts
sum up themselves, and the exit status is 0 only where nothing failed.
"""

from __future__ import annotations

import os.path
import re
import subprocess
import sys
from dataclasses import dataclass

sys.path.insert(0, os.path.dirname(os.path.dirname(os.path.abspath(__file__))))

from scripts import prepare
from scripts.test import IN_PARALLEL

FUZZ_MIN = 2
"""Minutes of each fuzz: long enough for thousands of rounds, short enough for every commit."""
FUZZ_SEED = 20261129
"""The same for every commit: what fails then is the change's doing and not the dice's. Other seeds,
and more time, are for whoever looks for more (``python -m scripts.fuzzes --minutes 20``)."""
_COUNTS = re.compile(r"(\d+) (passed|failed|errors?|skipped)\b")


@dataclass(frozen=True)
class Counts:
    """How many checks ended how."""

    passed: int = 0
    failed: int = 0
    skipped: int = 0

    def __add__(self, other: Counts) -> Counts:
        return Counts(
            self.passed + other.passed, self.failed + other.failed, self.skipped + other.skipped
        )

    def __str__(self) -> str:
        skipped = f", {self.skipped} skipped" if self.skipped else ""
        return f"{self.passed} passed, {self.failed} failed{skipped}"


def main() -> int:
    tests = [sys.executable, str(prepare.PROJECT / "scripts/test.py"), *sys.argv[1:]]
    parts = {"tests": tests}
    if not sys.argv[1:]:
        python = [str(prepare.PYTHON), "-m"]
        parts["wide"] = [*python, "pytest", *IN_PARALLEL, "-m", "wide"]
        parts["packages"] = [*python, "scripts.check_packages"]
        parts["fuzzes"] = [
            *python,
            "scripts.fuzzes",
            f"--minutes={FUZZ_MIN}",
            f"--seed={FUZZ_SEED}",
        ]
    total = Counts()
    for name, command in parts.items():
        print(f"== {name}", flush=True)
        total += run(command)
    print(f"ci: {total}")
    return 1 if total.failed or not total.passed else 0


def run(command: list[str]) -> Counts:
    """Run a part, its output passed on as it comes; what it counted in its last summing up."""
    counted = Counts()
    try:
        process = subprocess.Popen(
            command,
            cwd=prepare.PROJECT,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            encoding="utf-8",
            errors="replace",
        )
    except OSError as error:
        print(error, flush=True)
        return Counts(failed=1)
    with process:
        for line in process.stdout or ():
            print(line, end="", flush=True)
            counted = counts_in(line) or counted
    if process.returncode and not counted.failed:  # a check before the tests, or a crash
        counted += Counts(failed=1)
    return counted


def counts_in(line: str) -> Counts | None:
    """What a line that sums up has counted; None for any other line."""
    found = {word.removesuffix("s"): int(number) for number, word in _COUNTS.findall(line)}
    if "passed" not in found and "failed" not in found and "error" not in found:
        return None
    failed = found.get("failed", 0) + found.get("error", 0)
    return Counts(found.get("passed", 0), failed, found.get("skipped", 0))


if __name__ == "__main__":
    sys.exit(main())
