"""How soon the coach finds the trouble, how seldom it cries wolf, and how fast it mends.

    python -m scripts.bench_coaching [--pianists 500] [--seed 1] [--only NAME]

Every repetition is played as notes by a simulated pianist and heard by the real judging; the coach
sees only that. Beside each figure stands what plain rules need with the same pianists and ear.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from fractions import Fraction
from itertools import repeat
from statistics import median

from coach.coaching.diagnosis.evidence import (
    Evidence,
    evidence_to_plain,
    fold_history,
    restore_evidence,
)
from coach.coaching.model import Observation
from coach.judging.model import Outcome
from coach.playing.simulated.player import LEVELS, Law
from coach.score.model import Hands
from coach.score.window import Transition
from scripts.coachbench import bars, baselines, naming, spoken
from scripts.coachbench.figures import share
from scripts.coachbench.pianists import make
from scripts.coachbench.sessions import Session, coached

REPETITIONS = 100_000
MINUTES = 45.0
"""Playing time after which a learner counts as not having reached the goal."""
WAYS = ("coach", "ladder", "bars", "told")
KINDS = [(law, level) for law in Law for level in LEVELS]


def mending(pianists: int, seed: int) -> None:
    """Learners of every law and level, with every kind of fault, on all processors."""
    with ProcessPoolExecutor() as pool:
        learners = pool.map(_learner, range(pianists), repeat(seed), chunksize=4)
        ways = dict(zip(WAYS, zip(*learners, strict=True), strict=True))
    print("playing time to 'clean at tempo, three running' (minutes)")
    told = median(session.playing_s for session in ways["told"])
    for name, sessions in ways.items():
        minutes = sorted(s.playing_s / 60 for s in sessions)
        print(f"  {name:<8} median {median(minutes):6.2f}  slowest tenth "
              f"{minutes[int(0.9 * (len(minutes) - 1))]:6.2f}  reached "
              f"{share([s.finished for s in sessions])}  unclean "
              f"{median(s.unclean for s in sessions):g}  median by told's "
              f"{60 * median(minutes) / told:.2f}")  # fmt: skip
    parts = ("finding", "mending", "proving")
    spent = [sum(s.spent_s.get(part, 0.0) for s in ways["coach"]) / 60 / pianists for part in parts]
    said = ", ".join(f"{part} {mean:.2f}" for part, mean in zip(parts, spent, strict=True))
    print(f"  the coach's minutes on average: {said}")


def _learner(k: int, seed: int) -> tuple[Session, ...]:
    """One learner's sessions in each of :data:`WAYS`; laws and levels by turns."""
    law, level = KINDS[k % len(KINDS)]
    score, faults, pianist = make(
        seed + k, 1 + k % 2, level=level, law=law, chance=0.8, ease=3.0, learns=True
    )
    targets = tuple(fault.transition for fault in faults)
    return (
        coached(score, pianist(), most=10_000, minutes=MINUTES),
        baselines.ladder(score, pianist(), MINUTES),
        baselines.bar_by_bar(score, pianist(), MINUTES),
        baselines.told(score, pianist(), targets, MINUTES),
    )


def speed(pianists: int, seed: int) -> None:
    decided: list[float] = []
    for k in range(min(pianists, 30)):
        score, _, pianist = make(seed + k, 1)
        decided += coached(score, pianist(), most=20).decided_s
    print(f"judging and deciding       median {1000 * median(decided):.2f} ms")
    opening()


def opening() -> None:
    """The evidence of 100,000 repetitions, opened: from kept sums, and from the record alone."""
    evidence, history, at_s = Evidence(), list[Observation](), 0.0
    for i in range(REPETITIONS):
        at_s = 60.0 * i
        heard = _repetition(i, at_s)
        evidence.add(heard, 90.0)
        history += heard
    text = json.dumps(evidence_to_plain(evidence, 90.0))
    begun = time.perf_counter()
    opened = restore_evidence(json.loads(text), history, 90.0, at_s)
    sums_ms = 1000 * (time.perf_counter() - begun)
    begun = time.perf_counter()
    alone = fold_history(history, 90.0, at_s)
    fold_ms = 1000 * (time.perf_counter() - begun)
    beat = Fraction(4)
    print(f"{REPETITIONS:,} repetitions opened     from kept sums in {sums_ms:.1f} ms; "
          f"the newest of the record alone in {fold_ms:.0f} ms")  # fmt: skip
    print(f"  weight of one beat's attempts: played {evidence.counts_at(beat).together:.2f}, "
          f"from sums {opened.counts_at(beat).together:.2f}, from the record "
          f"{alone.counts_at(beat).together:.2f}")  # fmt: skip


def _repetition(i: int, at_s: float) -> list[Observation]:
    """Two bars by both hands; now and then one move fails."""
    return [
        Observation(
            at_s,
            Transition(hands, Fraction(beat - 1), Fraction(beat)),
            Fraction(beat),
            Hands.TOGETHER,
            Outcome.WRONG if (i + beat) % 17 == 0 else Outcome.CLEAN,
            90.0,
        )
        for beat in range(1, 9)
        for hands in (Hands.RIGHT, Hands.LEFT)
    ]


ROWS: dict[str, Callable[[int, int], None]] = {
    "single": naming.single,
    "kinds": naming.kinds,
    "others": naming.others,
    "learning": naming.learning,
    "two": naming.two,
    "together": naming.together_only,
    "healthy": naming.healthy,
    "mending": mending,
    "speed": speed,
    "lifelike": bars.naming,
    "hard": bars.hard,
    "new": bars.new,
    "long": bars.long,
    "sessions": spoken.sessions,
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pianists", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=ROWS, action="append")
    options = parser.parse_args()
    print(f"{options.pianists} simulated pianists a row, seed {options.seed}")
    for name in options.only or ROWS:
        begun = time.perf_counter()
        ROWS[name](options.pianists, options.seed)
        print(f"    ({time.perf_counter() - begun:.0f} s)", flush=True)


if __name__ == "__main__":
    main()
