"""Kills a process that saves repetitions as fast as it can: is the record whole after each kill?

    python -m scripts.kill_saving --kills 500 --seed 1

The cheap sister of ``kill_live``, which kills the whole program: a process forked from this one
saves one repetition after the other into a record, tells each through a pipe once it is saved, and
gets SIGKILL at a random moment. Then the record has to pass SQLite's ``integrity_check`` and our
own look over it, and to hold every repetition that was told, and at most one more.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import sqlite3
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path

from coach.record.folder import FILE
from coach.record.own_data import look_over
from coach.record.store import Store
from scripts.make_record import Sample, samples

SAVES_AT_MOST_S = 0.1
"""The moment of the kill lies within so long of the first save."""
A_RECORD = 50
"""Kills of one record, before another is begun."""


def save_until_killed(folder: Path, sample: Sample, begin: int, told: int) -> None:
    """Never returns."""
    store, n = Store(folder), begin
    while True:
        ended = sample.templates[n % len(sample.templates)].ended
        store.save_repetition(sample.piece, ended, 1e9 + 30.0 * n, sample.state)
        os.write(told, b".")
        n += 1


def one_kill(folder: Path, sample: Sample, begin: int, after_s: float) -> tuple[int, str]:
    """How many the record now holds, and what is wrong with it."""
    heard, told = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(heard)
        try:
            save_until_killed(folder, sample, begin, told)
        finally:
            os._exit(70)
    os.close(told)
    said = len(os.read(heard, 1))  # the first is saved: from now on
    time.sleep(after_s)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    while more := os.read(heard, 65536):
        said += len(more)
    os.close(heard)
    with closing(sqlite3.connect(folder / FILE)) as db:
        found = look_over(db)  # SQLite's own check is a part of it
    wrong = "" if found.is_sound else f"unsound: {found}"
    if not begin + said <= found.repetitions <= begin + said + 1:
        wrong += f" {begin + said} were told, {found.repetitions} are there"
    return found.repetitions, wrong


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--kills", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    chance, sample, failures, kept, count = (
        random.Random(options.seed), samples(options.seed, 1)[0], 0, 0, 0
    )  # fmt: skip
    with tempfile.TemporaryDirectory() as top:
        for kill in range(options.kills):
            folder = Path(top) / str(kill // A_RECORD)
            if kill % A_RECORD == 0:
                count = 0
                folder.mkdir(mode=0o700)
            before = count
            count, wrong = one_kill(folder, sample, count, chance.uniform(0, SAVES_AT_MOST_S))
            kept += count - before
            if wrong:
                failures += 1
                print(f"FAILURE: kill {kill} (seed {options.seed}): {wrong}", flush=True)
            if (kill + 1) % A_RECORD == 0:
                print(f"{kill + 1} kills, {kept} repetitions kept, {failures} failures", flush=True)
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
