"""How soon the trouble is named, and how seldom one is claimed where there is none."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

from coach.playing.simulated.player import LEVELS, Failing, PlayerFault, SimulatedPianist
from coach.score.model import Hands, Score
from scripts.coachbench import baselines
from scripts.coachbench.figures import share, spread
from scripts.coachbench.others import OTHERS
from scripts.coachbench.pianists import make
from scripts.coachbench.sections import QPM, whole
from scripts.coachbench.sessions import Session, coached, play_once

WAYS: dict[str, tuple[Failing, ...]] = {way.value: (way,) for way in Failing}
Case = tuple[Score, tuple[PlayerFault, ...], Callable[[], SimulatedPianist]]


@dataclass
class Tally:
    """What became of the pianists of one row."""

    named_after: list[int | None] = field(default_factory=list)
    another_first: list[bool] = field(default_factory=list)

    def hear(self, case: Case, most: int = 20) -> None:
        """One pianist with one fault, until it is named."""
        score, faults, pianist = case
        target = faults[0].transition
        session = coached(score, pianist(), until_named=frozenset({target}), most=most)
        self.named_after.append(session.named.get(target))
        self.another_first.append(any(t != target for t in session.named))

    def told(self, what: str) -> None:
        """One line of the table."""
        got = [n for n in self.named_after if n is not None]
        exact = share([n is not None for n in self.named_after])
        print(f"{what:<26} named exactly {exact}  {spread(got)}   "
              f"another claimed first {share(self.another_first)}")  # fmt: skip


def single(pianists: int, seed: int) -> None:
    """One fault of one hand, of all kinds together, beside the pass/fail search."""
    ours, search = Tally(), Tally()
    for k in range(pianists):
        case = make(seed + k, 1)
        ours.hear(case)
        if k < pianists // 5:
            score, faults, pianist = case
            found = baselines.pass_fail_search(score, pianist(), 0.6, 100)
            search.named_after.append(found.named.get(faults[0].transition))
    ours.told("one fault, not learning")
    search.told("  pass/fail search")


def kinds(pianists: int, seed: int) -> None:
    """One fault of one hand, kind by kind."""
    for what, ways in WAYS.items():
        tally = Tally()
        for k in range(pianists):
            tally.hear(make(seed + k, 1, ways=ways))
        tally.told(f"one fault, {what}")


def others(pianists: int, seed: int) -> None:
    """The same with pianists by other rules, each plays a part of the row."""
    for what, ways in WAYS.items():
        tally = Tally()
        for k in range(pianists):
            tally.hear(make(seed + k, 1, ways=ways, kind=OTHERS[k % len(OTHERS)]))
        tally.told(f"other rules, {what}")


def learning(pianists: int, seed: int) -> None:
    """One fault that heals while it is looked for."""
    named: list[bool] = []
    by_counter: dict[int, list[bool]] = {3: [], 5: []}
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
    """Two faults at different beats."""
    both = []
    for k in range(pianists):
        score, faults, pianist = make(seed + k, 2)
        targets = frozenset(fault.transition for fault in faults)
        session = coached(score, pianist(), until_named=targets, most=10)
        both.append(targets <= session.named.keys())
    print(f"two faults, 10 repetitions both named {share(both)}")


def together_only(pianists: int, seed: int) -> None:
    """A fault that shows only when both hands play."""
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
