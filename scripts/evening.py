"""Evenings at the piano in accelerated time: what people really do, and what the drill makes of it.

    python -m scripts.evening --hours 1 --evenings 100 --seed 1
    python -m scripts.evening --replay LOG      does again what ended in an exception
    python scripts/evening.py --live --minutes 30 --log LOG      through the real app, over JACK

A simulated player with every habit of a living room drives the drill as the screen does. Evenings
are numbered from 0 and told apart by seed and number, so any of them can be played again alone
(--only). With --out FOLDER finished evenings are kept, and a run that was stopped (Ctrl+C prints
the report so far) goes on where it stood, as long as the code is the same. The exit status is 1
where a bar fails.

Seeds from 90000 on are kept apart: nothing is ever mended by looking at them. They are for the
last measurement only.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import multiprocessing
import os
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from scripts.eveningbench.evening import replay, run_evening  # noqa: E402
from scripts.eveningbench.pieces import paths, score_at  # noqa: E402
from scripts.eveningbench.tally import Tally  # noqa: E402

Job = tuple[int, int, float, Path | None]


def code_key() -> str:
    """A digest of all code that an evening depends on."""
    digest = hashlib.sha256()
    for folder in ("coach", "scripts/eveningbench"):
        for path in sorted((ROOT / folder).rglob("*.py")):
            digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


class Kept:
    """Finished evenings in a folder: one line each."""

    def __init__(self, folder: Path | None) -> None:
        self._file = folder / "evenings.jsonl" if folder else None
        self._code = code_key()
        self.done: dict[tuple[int, int, float], Tally] = {}
        if folder:
            folder.mkdir(parents=True, exist_ok=True)
        if self._file and self._file.exists():
            for line in self._file.read_text().splitlines():
                one = json.loads(line)
                if one["code"] == self._code:
                    self.done[one["seed"], one["number"], one["hours"]] = Tally.from_plain(
                        one["tally"]
                    )

    def keep(self, seed: int, number: int, hours: float, tally: Tally) -> None:
        """Write one evening down."""
        if self._file:
            one = {"code": self._code, "seed": seed, "number": number, "hours": hours}
            with self._file.open("a") as file:
                file.write(json.dumps({**one, "tally": tally.plain()}) + "\n")


def play(job: Job) -> tuple[int, Tally]:
    """One evening, in whichever process."""
    seed, number, hours, failures = job
    return number, run_evening(seed, number, hours, failures)


def _in_worker() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    os.nice(10)


def played(jobs: list[Job], processes: int) -> Iterator[tuple[int, Tally]]:
    """The evenings, as they are done."""
    if processes == 1:
        yield from map(play, jobs)
        return
    with multiprocessing.get_context("fork").Pool(processes, _in_worker) as pool:
        yield from pool.imap_unordered(play, jobs)


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--hours", type=float, default=1.0)
    parser.add_argument("--evenings", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int, help="the number of one evening")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--out", type=Path, help="keep finished evenings, and logs of failures")
    parser.add_argument("--examples", type=int, default=40, help="how many to print")
    parser.add_argument("--replay", type=Path)
    parser.add_argument("--live", action="store_true", help="in real time, through the real app")
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--log", type=Path, default=Path("evening.log"))
    options = parser.parse_args()
    if options.live:
        from scripts.eveningbench.live import run_live

        return run_live(options.seed, options.minutes, options.log)
    if options.replay:
        replay(options.replay)
        return 0
    for path in paths():
        score_at(path)  # once, before the processes part
    numbers = range(options.evenings) if options.only is None else [options.only]
    kept, total, started_s = Kept(options.out), Tally(), time.monotonic()
    jobs: list[Job] = []
    for number in numbers:
        known = kept.done.get((options.seed, number, options.hours))
        if known:
            total.add(known)
        else:
            jobs.append((options.seed, number, options.hours, options.out))
    try:
        for number, tally in played(jobs, min(options.processes, max(len(jobs), 1))):
            kept.keep(options.seed, number, options.hours, tally)
            total.add(tally)
            if sys.stderr.isatty():
                print(f"\r{total.evenings} of {len(numbers)} ", end="", file=sys.stderr)
    except KeyboardInterrupt:
        print("stopped; the report so far:")
    print(f"seed {options.seed}, {time.monotonic() - started_s:.0f} s")
    print(total.report())
    for example in total.examples[: options.examples]:
        print("  " + example)
    return 0 if total.holds else 1


if __name__ == "__main__":
    raise SystemExit(main())
