"""How soon the coach finds the trouble, how seldom it cries wolf, and how fast it mends.

    python -m scripts.bench_coaching [--pianists 500] [--seed 1] [--only NAME]

Every repetition is played as notes by a simulated pianist and heard by the real judging; the coach
sees only that. Beside each figure stands what plain rules need with the same pianists and ear.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from fractions import Fraction
from statistics import median

from coach.coaching.evidence import fold
from coach.coaching.facts import Observation
from coach.judging.facts import Outcome
from coach.playing.simulated_skill import LEVELS, Law
from coach.score.model import Hands
from coach.score.window import Transition
from scripts.coachbench import baselines, naming
from scripts.coachbench.pianists import make, share
from scripts.coachbench.sessions import Session, coached

MINUTES = 45.0
"""Playing time after which a learner counts as not having reached the goal."""


def mending(pianists: int, seed: int) -> None:
    ways: dict[str, list[Session]] = {"coach": [], "ladder": [], "bars": [], "told": []}
    kinds = [(law, level) for law in Law for level in LEVELS]
    for k in range(pianists):
        law, level = kinds[k % len(kinds)]
        given = {"level": level, "law": law, "chance": 0.8, "ease": 3.0, "learns": True}
        score, faults, pianist = make(seed + k, 1 + k % 2, **given)  # type: ignore[arg-type]
        targets = tuple(fault.transition for fault in faults)
        ways["coach"].append(coached(score, pianist(), most=10_000, minutes=MINUTES))
        ways["ladder"].append(baselines.ladder(score, pianist(), MINUTES))
        ways["bars"].append(baselines.bar_by_bar(score, pianist(), MINUTES))
        ways["told"].append(baselines.told(score, pianist(), targets, MINUTES))
    print("playing time to 'clean at tempo, three running' (minutes)")
    for name, sessions in ways.items():
        minutes = sorted(s.playing_s / 60 for s in sessions)
        print(f"  {name:<8} median {median(minutes):6.2f}  slowest tenth "
              f"{minutes[int(0.9 * (len(minutes) - 1))]:6.2f}  reached "
              f"{share([s.finished for s in sessions])}  unclean "
              f"{median(s.unclean for s in sessions):g}")  # fmt: skip


def speed(pianists: int, seed: int) -> None:
    decided: list[float] = []
    for k in range(min(pianists, 30)):
        score, _, pianist = make(seed + k, 1)
        decided += coached(score, pianist(), most=20).decided_s
    print(f"judging and deciding       median {1000 * median(decided):.2f} ms")
    history = [_observation(i) for i in range(100_000)]
    begun = time.perf_counter()
    fold(history, 90.0, 1e6)
    print(f"100,000 observations folded in {1000 * (time.perf_counter() - begun):.0f} ms")


def _observation(i: int) -> Observation:
    beat = Fraction(1 + i % 64)
    move = Transition(Hands.LEFT if i % 2 else Hands.RIGHT, beat - 1, beat)
    outcome = Outcome.WRONG if i % 7 == 0 else Outcome.CLEAN
    return Observation(float(i), move, beat, Hands.TOGETHER, outcome, 90.0)


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
