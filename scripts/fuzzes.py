"""Runs every fuzz, some at a time, and says in a few lines what came of each.

    python -m scripts.fuzzes --minutes 2 --seed 7

A fuzz is a module ``scripts/fuzz_*.py`` that takes ``--minutes`` and ``--seed``, prints its rounds
so that each can be made again, starts a line with FAILURE for each finding, ends with a summary,
and exits with 1 where it found anything. Without a seed it is the commit's: every commit tries
something else, and what one has found can be found again.
"""

from __future__ import annotations

import argparse
import os
import signal
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

PROJECT = Path(__file__).parents[1]
AT_A_TIME = 2
GRACE_S = 240.0
"""How long after its time a fuzz may end: a round that hangs is its own to report, within this."""
MOST_LINES = 40
"""Lines with findings that are repeated of one fuzz; the rest stands in its output."""


@dataclass(frozen=True)
class Ran:
    """What came of one fuzz."""

    name: str
    status: int | None
    """Its exit status; None where it had to be ended."""
    seconds: float
    output: str

    @property
    def passed(self) -> bool:
        return self.status == 0

    def told(self) -> str:
        """What it found, and its summary."""
        lines = [line for line in self.output.splitlines() if line.strip()]
        how = "had to be ended" if self.status is None else f"exit {self.status}"
        head = f"{self.name}: {'passed' if self.passed else 'FAILED'} ({how}, {self.seconds:.0f} s)"
        if self.passed:
            return "\n".join([head, *lines[-1:]])
        found = [at for at, line in enumerate(lines) if line.startswith("FAILURE")]
        start = found[0] if found else max(len(lines) - MOST_LINES, 0)
        return "\n".join([head, *lines[start : start + MOST_LINES], *lines[-1:]])


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--minutes", type=float, default=2.0, help="for each")
    parser.add_argument("--seed", type=int, default=None)
    args = parser.parse_args()
    seed = seed_of_the_commit() if args.seed is None else args.seed
    names = sorted(file.stem for file in (PROJECT / "scripts").glob("fuzz_*.py"))
    print(f"{len(names)} fuzzes of {args.minutes:g} minutes, seed {seed}", flush=True)
    with ThreadPoolExecutor(AT_A_TIME) as pool:
        ran = []
        for one in pool.map(partial(run, minutes=args.minutes, seed=seed), names):
            print(one.told(), flush=True)
            ran.append(one)
    summarise(ran, seed)
    failed = sum(not one.passed for one in ran)
    print(f"fuzzes: {len(ran) - failed} passed, {failed} failed")
    return 1 if failed or not ran else 0


def seed_of_the_commit() -> int:
    """From the commit's name; the day's number where there is none."""
    command = ["git", "rev-parse", "--short=7", "HEAD"]
    try:
        said = subprocess.run(command, cwd=PROJECT, capture_output=True, text=True, check=True)
        return int(said.stdout.strip()[:7], 16)
    except (OSError, ValueError, subprocess.CalledProcessError):
        return int(time.time() // 86400)


def run(name: str, *, minutes: float, seed: int) -> Ran:
    """One fuzz in a process of its own, ended with all that it started where it takes too long."""
    command = [sys.executable, "-m", f"scripts.{name}", f"--minutes={minutes}", f"--seed={seed}"]
    begun = time.monotonic()
    with tempfile.TemporaryFile() as file, tempfile.TemporaryFile() as errors:
        process = subprocess.Popen(
            command,
            cwd=PROJECT,
            stdin=subprocess.DEVNULL,
            stdout=file,
            stderr=errors,
            start_new_session=True,
        )
        status: int | None = None
        try:
            status = process.wait(60 * minutes + GRACE_S)
        except subprocess.TimeoutExpired:
            _end(process)
        output = ""
        for part in (errors, file):  # its summary last, whatever is said at the very end
            part.seek(0)
            output += part.read().decode(errors="replace")
    return Ran(name, status, time.monotonic() - begun, output)


def _end(process: subprocess.Popen[bytes]) -> None:
    if os.name == "nt":
        process.kill()
    else:
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()


def summarise(ran: list[Ran], seed: int) -> None:
    """For the page of a hosted run, where there is one."""
    page = os.environ.get("GITHUB_STEP_SUMMARY")
    if page:
        told = "\n\n".join(f"```\n{one.told()}\n```" for one in ran)
        with open(page, "a", encoding="utf-8") as file:
            file.write(f"## Fuzzes, seed {seed}\n\n{told}\n")


if __name__ == "__main__":
    sys.exit(main())
