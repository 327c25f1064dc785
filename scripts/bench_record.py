"""How much longer the program takes with ten years of practice than with a few weeks of it.

    python -m scripts.bench_record [--repetitions 600000] [--runs 5] [--folder FOLDER]

Makes two records of invented data (``make_record``), or takes those that ``--folder`` holds from an
earlier run, and times on each, in a process of its own for every run, the two records in turn:
opening the record, what the home screen asks of it, a piece put on the desk, its diary, ``coach
warmup --list`` (the inside of it, and the whole command), and saving a repetition. Figures are
medians; saving is the 99th percentile.
"""

from __future__ import annotations

import argparse
import json
import statistics
import subprocess
import sys
import tempfile
import time
from argparse import Namespace
from pathlib import Path

from coach.record.folder import FILE
from scripts.make_record import SAMPLES, make, samples

ROOT = Path(__file__).parents[1]
BAR_S = 0.3
SAVES = 300
"""Repetitions saved in a run, to tell the slowest of a hundred."""
SMALL = 2000


def inside(folder: Path) -> dict[str, float]:
    """Seconds of each step, in a process that has imported all of it."""
    from coach.cli.commands.practice import warmup
    from coach.cli.open_score import open_piece
    from coach.cli.score_library import HomeLibrary
    from coach.cli.sessions import SessionMaker
    from coach.cli.storage import Storage, close_record
    from coach.record.pieces import piece_key
    from coach.record.progress import gather_progress
    from coach.record.store import Store
    from coach.screens.diary_text import Look, map_page, text_of
    from coach.screens.interfaces import Errand

    out: dict[str, float] = {}
    options = Namespace(data=folder, counting=None, list=True, minutes=5.0)
    path = sorted(SAMPLES.glob("*.musicxml"))[0]
    score = open_piece(path, data=folder)

    begun = time.perf_counter()
    Store(folder).close()
    out["opening"] = time.perf_counter() - begun

    begun = time.perf_counter()
    storage = Storage(options)
    HomeLibrary(storage).items()
    storage.notices()
    out["home"] = time.perf_counter() - begun

    begun = time.perf_counter()
    SessionMaker(storage.store, storage.lease).make(score, path, Errand.GO_ON, 0.0)
    out["drill"] = time.perf_counter() - begun
    assert storage.store

    begun = time.perf_counter()
    diary = gather_progress(storage.store, piece_key(score, path), score).diary
    text_of(map_page(diary, diary.days[-1].day, Look(116)))
    out["diary"] = time.perf_counter() - begun
    close_record(storage.store)

    begun = time.perf_counter()
    warmup(options)
    out["warm-up list"] = time.perf_counter() - begun
    return out


def saving(folder: Path) -> float:
    """The slowest of a hundred saves, in seconds."""
    from coach.record.store import Store

    store = Store(folder)
    sample = samples(1, 1)[0]
    took = []
    for n in range(SAVES):
        ended = sample.templates[n % len(sample.templates)].ended
        begun = time.perf_counter()
        store.save_repetition(sample.piece, ended, time.time() + n, sample.state)
        took.append(time.perf_counter() - begun)
    store.close()
    return statistics.quantiles(took, n=100)[98]


def run_inside(folder: Path, what: str) -> dict[str, float]:
    done = subprocess.run(
        [sys.executable, "-m", "scripts.bench_record", "--inside", what, "--folder", str(folder)],
        cwd=ROOT, check=True, capture_output=True, text=True,
    )  # fmt: skip
    found: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    return found


def whole_command(folder: Path) -> float:
    begun = time.perf_counter()
    command = [sys.executable, "-m", "coach", "warmup", "--list", "--data", str(folder)]
    subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
    return time.perf_counter() - begun


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--repetitions", type=int, default=600_000)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--folder", type=Path, help="keeps the records for another run")
    parser.add_argument("--inside", choices=("steps", "saving"), help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.inside:
        took = (
            inside(options.folder)
            if options.inside == "steps"
            else {"saving at 99 %": saving(options.folder)}
        )
        print(json.dumps(took))
        return
    with tempfile.TemporaryDirectory() as passing:
        bench(options.folder or Path(passing), options)


def bench(folder: Path, options: Namespace) -> None:
    """Make what is missing, and print the table."""
    small, large = folder / f"{SMALL}", folder / f"{options.repetitions}"
    for one, count, years in ((small, SMALL, 0.1), (large, options.repetitions, 10.0)):
        if not (one / FILE).exists():
            make(one, count, seed=options.seed, years=years)
    took: dict[Path, dict[str, list[float]]] = {small: {}, large: {}}
    for _ in range(options.runs):
        for one in (small, large):
            found = {**run_inside(one, "steps"), "coach warmup --list": whole_command(one)}
            for step, seconds in found.items():
                took[one].setdefault(step, []).append(seconds)
    for one in (small, large):
        took[one]["saving at 99 %"] = [run_inside(one, "saving")["saving at 99 %"]]
    sizes = [(one / FILE).stat().st_size / 1e6 for one in (small, large)]
    counts = (SMALL, options.repetitions)
    print(f"{'':22}{counts[0]:>12,}{counts[1]:>12,} repetitions, {options.runs} runs")
    print(f"{'size':22}{sizes[0]:>9.1f} MB{sizes[1]:>9.1f} MB")
    for step in took[small]:
        few, many = (statistics.median(took[one][step]) for one in (small, large))
        print(
            f"{step:22}{1000 * few:>9.1f} ms{1000 * many:>9.1f} ms   "
            f"x{many / few:.1f}, {1000 * (many - few):+.1f} ms"
        )
    print(f"bar: home, warm-up and diary at most {1000 * BAR_S:.0f} ms longer")


if __name__ == "__main__":
    main()
