"""How soon the coach finds the trouble, how seldom it cries wolf, and how fast it mends.

    python -m scripts.bench_coaching [--pianists 500] [--seed 1] [--only NAME]

Every repetition is played as notes by a simulated pianist and heard by the real judging; the coach
sees only that. Beside each figure stands what plain rules need with the same pianists and ear.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from random import Random
from statistics import median

from coach.coaching.evidence import fold
from coach.coaching.facts import Observation
from coach.judging.facts import Outcome
from coach.playing.simulated import SimulatedPianist
from coach.playing.simulated_skill import INTERMEDIATE, LEVELS, Law, Level, PlayerFault
from coach.score.model import Hands, Score
from coach.score.window import Transition
from scripts.coachbench import baselines
from scripts.coachbench.sections import QPM, plant, section, whole
from scripts.coachbench.sessions import Session, coached, play_once

STEADY = replace(INTERMEDIATE, name="steady", slip=0.0)
MINUTES = 45.0
"""Playing time after which a learner counts as not having reached the goal."""


def share(hits: Sequence[bool]) -> str:
    return f"{100 * sum(hits) / len(hits):5.1f} %" if hits else "   -   "


def spread(counts: Sequence[int]) -> str:
    if not counts:
        return "median -, 90 % -"
    ordered = sorted(counts)
    return f"median {median(ordered):g}, 90 % {ordered[int(0.9 * (len(ordered) - 1))]}"


def make(
    seed: int,
    count: int,
    *,
    level: Level = STEADY,
    law: Law = Law.EXPONENTIAL,
    chance: float = 0.6,
    ease: float = 0.0,
    learns: bool = False,
    together: bool = False,
) -> tuple[Score, tuple[PlayerFault, ...], Callable[[], SimulatedPianist]]:
    """A section, its faults, and a maker of the same pianist, fresh."""
    random = Random(seed)
    score = section(random)
    faults = plant(random, score, count, chance=chance, ease=ease, learns=learns, together=together)
    return (
        score,
        faults,
        lambda: SimulatedPianist(score, seed=seed, faults=faults, level=level, law=law),
    )


def single(pianists: int, seed: int) -> None:
    ours, search = [], []
    wrong_first = []
    for k in range(pianists):
        score, faults, pianist = make(seed + k, 1)
        target = faults[0].transition
        session = coached(score, pianist(), until_named=frozenset({target}))
        ours.append(session.named.get(target))
        wrong_first.append(any(t != target for t in session.named))
        if k < pianists // 5:
            found = baselines.pass_fail_search(score, pianist(), 0.6, 100)
            search.append(found.named.get(target))
    got = [n for n in ours if n is not None]
    print(f"one fault, not learning    named exactly {share([n is not None for n in ours])}  "
          f"{spread(got)}   another claimed first {share(wrong_first)}")  # fmt: skip
    won = [n for n in search if n is not None]
    print(f"  pass/fail search         named exactly {share([n is not None for n in search])}  "
          f"{spread(won)}")  # fmt: skip


def learning(pianists: int, seed: int) -> None:
    named, by_counter = [], {3: [], 5: []}  # type: ignore[var-annotated]
    for k in range(pianists):
        score, faults, pianist = make(seed + k, 1, learns=True)
        target = faults[0].transition
        player = pianist()
        session = coached(score, player, until_named=frozenset({target}), most=30)
        healed = session.finished or player.chance(faults[0]) < 0.1
        named.append(target in session.named or healed)
        for plays, hits in by_counter.items():
            hits.append(baselines.counter(score, pianist(), plays) == target)
    print(f"one fault, learning        named exactly or healed {share(named)}")
    for plays, hits in by_counter.items():
        print(f"  most failures after {plays} whole plays    {share(hits)}")


def two(pianists: int, seed: int) -> None:
    both = []
    for k in range(pianists):
        score, faults, pianist = make(seed + k, 2)
        targets = frozenset(fault.transition for fault in faults)
        session = coached(score, pianist(), until_named=targets, most=10)
        both.append(targets <= session.named.keys())
    print(f"two faults, 10 repetitions both named {share(both)}")


def together_only(pianists: int, seed: int) -> None:
    right, one_hand = [], []
    for k in range(pianists):
        score, faults, pianist = make(seed + k, 1, together=True)
        if not faults:
            continue
        target = faults[0].transition
        session = coached(score, pianist(), until_named=frozenset({target}), most=20)
        right.append(target in session.named)
        one_hand.append(any(t.hands is not Hands.TOGETHER for t in session.named))
    print(f"hands together only        named so {share(right)}   "
          f"claimed of one hand on the way {share(one_hand)}")  # fmt: skip


def healthy(pianists: int, seed: int) -> None:
    """Slips from rare to frequent; beside it a rule that claims whatever failed once in ten."""
    rare = [
        replace(level, name=f"{level.name}, rare slips", slip=level.slip / 5) for level in LEVELS
    ]
    for level in (*rare, *LEVELS):
        noisy = replace(level, motor_ms=15.0)
        claimed, once = [], []
        for k in range(pianists):
            score, _, pianist = make(seed + k, 0, level=noisy)
            claimed.append(bool(_twenty(score, pianist()).named))
            ten, player = Session(), pianist()
            for _ in range(10):
                play_once(score, player, whole(score), QPM, ten)
            once.append(ten.unclean > 0)
        print(f"healthy, {level.name:<25} trouble claimed in {share(claimed)} of 20 repetitions; "
              f"by 'failed once in 10' {share(once)}")  # fmt: skip


def _twenty(score: Score, pianist: SimulatedPianist) -> Session:
    """Twenty repetitions, begun anew where the goal is reached before."""
    total = Session()
    while total.repetitions < 20:
        session = coached(score, pianist, most=20 - total.repetitions)
        total.repetitions += session.repetitions
        total.named |= session.named
    return total


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
    "single": single,
    "learning": learning,
    "two": two,
    "together": together_only,
    "healthy": healthy,
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
