"""A record of invented practice: a simulated pianist works on a sample score day by day.

    python -m scripts.simulated_week FOLDER [--days 7] [--minutes 15] [--seed 1] [--score NAME]

For trying what the record tells over days (``coach progress --data FOLDER``). Nobody played it: the
pianist is made of arithmetic, has two faults, mends them by right repetitions and forgets some of
it overnight. The last day is today.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path
from random import Random

from coach.drill import Decision, Drill, Window, repair
from coach.playing.simulated.player import (
    INTERMEDIATE,
    Failing,
    PlayerFault,
    SimulatedPianist,
)
from coach.record.calendar import DAY_ENDS_H
from coach.record.pieces import piece_key
from coach.record.store import Store
from coach.score.reading import read_score
from coach.score.window import excerpt

SAMPLES = Path(__file__).resolve().parent.parent / "sample_scores"
PAUSE_S = 4.0
"""Between two repetitions."""
_DAY_S = 86400.0


def make_week(
    folder: Path, score_path: Path, days: int, minutes: float, seed: int, *, ended_days_ago: int = 0
) -> int:
    """Practise it and keep every repetition; how many those are."""
    folder.mkdir(parents=True, exist_ok=True)
    score, dice = read_score(score_path), Random(seed)
    whole = Window(score.bars[0].onset_quarters, score.end_quarters)
    moves = [move for move in excerpt(score, whole).transitions if move.to_quarters > 2]
    faults = [
        PlayerFault(move, dice.uniform(0.5, 0.9), dice.choice(list(Failing)))
        for move in dice.sample(moves, 2)
    ]
    pianist = SimulatedPianist(score, seed=seed, faults=faults, level=INTERMEDIATE)
    store, key, kept = Store(folder), piece_key(score, score_path), 0
    now = time.localtime()
    today_s = time.mktime((*now[:3], min(now.tm_hour, 18), 0, 0, 0, 0, -1)) - 60 * minutes
    if now.tm_hour == DAY_ENDS_H:  # not the end of the day before
        today_s += 60 * minutes
    for day in range(days):
        begin_s = at_s = today_s - (days - 1 - day + ended_days_ago) * _DAY_S
        drill = Drill(score, repair(score, whole), history=store.history(key))
        while at_s < begin_s + 60 * minutes and not _is_done(drill.decision):
            notes = pianist.play(drill.excerpt, drill.assignment.qpm, start_s=at_s)
            ended = drill.repetition(notes, now_s=at_s)
            at_s = (notes[-1].onset_s if notes else at_s) + PAUSE_S
            store.save_repetition(key, ended, at_s, {})
            kept += 1
        pianist.sleep()
    store.close()
    return kept


def _is_done(decision: Decision) -> bool:
    return decision.finished or decision.enough


def main() -> None:
    """Make it, and say how it can be looked at."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--days", type=int, default=7)
    parser.add_argument("--minutes", type=float, default=15.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--score", default="2-the-ferry-bell")
    options = parser.parse_args()
    path = SAMPLES / f"{options.score}.musicxml"
    kept = make_week(options.folder, path, options.days, options.minutes, options.seed)
    print(f"{kept} repetitions of {options.days} days: coach progress --data {options.folder}")


if __name__ == "__main__":
    main()
