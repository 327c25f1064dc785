"""Judges anything at all for as long as one likes: does the ear fall over, or contradict itself?

    python -m scripts.fuzz_judge --minutes 20 --seed 1
    python -m scripts.fuzz_judge --seed 1 --round 812      # one round again, told in full
    python -m scripts.fuzz_judge --seed 1 --from 5000      # go on where a run was stopped

A round is one excerpt (of the sample scores, or of a made one) and one take: as written, with
slips, mashed, shuffled, empty, struck at one moment, of hundreds of keys, an octave off, with times
and lengths that no piano sends. Its seed is the run's with the round's number, so each round can be
made again by itself. Reported as failures: an exception, a round over 20 seconds, and a judgement
that breaks a law of ``scripts/judge_laws.py``.
"""

from __future__ import annotations

import argparse
import random
import sys
import time
import traceback
from collections import Counter
from dataclasses import dataclass, field, replace
from itertools import count

from coach.judging.judge import judge
from coach.judging.model import Judgement, Stage
from coach.judging.timing.habits import Habits
from coach.judging.tolerance import Strictness, Tolerance
from coach.playing.notes import PlayedNote
from coach.score.model import Score
from coach.score.window import Excerpt
from scripts.judge_laws import broken_laws, differences
from scripts.judge_material import TAKES, huge_take, made_score, random_excerpt, sample_scores

HANG_S = 20.0
"""Of the processor's time, so that a busy machine is no finding."""
REPORT_S = 60.0
HUGE_SHARE = 0.02
"""Rounds with hundreds of keys: each takes a second, as long as hundreds of the others."""
SHIFT_S = 4096
"""A power of two: with times in 1024ths of a second no float is rounded by adding it."""


@dataclass(frozen=True)
class Round:
    """What is judged, and how."""

    excerpt: Excerpt
    way: str
    take: list[PlayedNote]
    stage: Stage
    qpm: float | None
    click_s: float | None
    strictness: Strictness
    earlier: list[PlayedNote] | None
    """A repetition before it, which habits are taken from."""

    def judged(self, shift_s: float = 0.0) -> Judgement:
        """The verdict, with every time later by so much."""
        tolerance, habits = Tolerance.of(self.strictness), None
        if self.earlier is not None:
            before = judge(self.excerpt, self.earlier, qpm=self.qpm, tolerance=tolerance)
            habits = Habits().with_(before, self.qpm)
        return judge(
            self.excerpt,
            [replace(note, onset_s=note.onset_s + shift_s) for note in self.take],
            stage=self.stage,
            qpm=self.qpm,
            click_s=None if self.click_s is None else self.click_s + shift_s,
            tolerance=tolerance,
            habits=habits,
        )


@dataclass
class Tally:
    """What has come of the rounds so far."""

    outcomes: Counter[str] = field(default_factory=Counter)
    slowest: tuple[float, int, str] = (0.0, 0, "")
    failures: list[int] = field(default_factory=list)

    def __str__(self) -> str:
        kinds = ", ".join(f"{number:,} {kind}" for kind, number in self.outcomes.most_common())
        seconds, at, way = self.slowest
        return (
            f"{self.outcomes.total():,} rounds: {kinds}; slowest {seconds:.2f} s (round {at}, "
            f"{way}); failures: {len(self.failures)}"
        )


def main() -> int:
    args = _arguments()
    samples, tally = sample_scores(), Tally()
    start = time.monotonic()
    report_at = start + REPORT_S
    print(f"seed {args.seed}, from round {args.start}", flush=True)
    for number in count(args.start) if args.round is None else [args.round]:
        _try(args.seed, number, samples, tally, told=args.round is not None)
        now = time.monotonic()
        if now > start + 60 * args.minutes:
            break
        if now > report_at:
            print(f"up to round {number}: {tally}", flush=True)
            report_at = now + REPORT_S
    print(f"{args.minutes:g} minutes, seed {args.seed}: {tally}")
    return 1 if tally.failures else 0


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--round", type=int, help="only this one, told in full")
    parser.add_argument("--from", dest="start", type=int, default=0, help="the first round")
    return parser.parse_args()


def make_round(seed: int, number: int, samples: list[Score]) -> Round:
    """The round of this number: the same whenever it is made."""
    rng = random.Random(f"{seed}:{number}")
    score = rng.choice(samples) if rng.random() < 0.5 else made_score(rng)
    excerpt = random_excerpt(score, rng)
    way = rng.choice(sorted(TAKES)) if rng.random() > HUGE_SHARE else "huge"
    qpm = rng.choice([None, round(rng.uniform(20, 240)), excerpt.qpm])
    clicks = qpm is not None and rng.random() < 0.5
    return Round(
        excerpt,
        way,
        TAKES.get(way, huge_take)(excerpt, rng),
        rng.choice(list(Stage)),
        qpm,
        rng.randrange(-2048, 8192) / 1024 if clicks else None,
        rng.choice(list(Strictness)),
        TAKES["slips"](excerpt, rng) if rng.random() < 0.3 else None,
    )


def _try(seed: int, number: int, samples: list[Score], tally: Tally, *, told: bool) -> None:
    one = make_round(seed, number, samples)
    begun = time.process_time()
    wrong: list[str] = []
    try:
        judgement = one.judged()
        seconds = time.process_time() - begun
        wrong += broken_laws(one.excerpt, one.take, judgement)
        wrong += [
            f"later by {SHIFT_S} s: {what}" for what in differences(judgement, one.judged(SHIFT_S))
        ]
        tally.outcomes["clean" if judgement.clean else "not clean"] += 1
    except Exception:
        seconds = time.process_time() - begun
        judgement = None
        wrong.append(traceback.format_exc())
        tally.outcomes["raised"] += 1
    if seconds > HANG_S:
        wrong.append(f"took {seconds:.1f} s")
    tally.slowest = max(tally.slowest, (seconds, number, one.way))
    if wrong:
        tally.failures.append(number)
        print(f"FAILURE at seed {seed}, round {number} ({one.way}, {one.stage}): {wrong[0]}")
        print(*wrong[1:], sep="\n", flush=True)
    if told:
        _tell(one, judgement)


def _tell(one: Round, judgement: Judgement | None) -> None:
    print(f"{one.way}, {one.stage}, {one.strictness}, qpm {one.qpm}, click at {one.click_s}")
    print(one.excerpt.window)
    for written in one.excerpt.notes:
        small = " small" if written.grace else ""
        print(f"  {written.hand} {written.pitch} at {written.onset_quarters}{small}")
    for struck in one.take[:200]:
        print(f"  {struck}")
    if judgement:
        print(judgement.sentence, *judgement.details, *judgement.notices, sep="\n")


if __name__ == "__main__":
    sys.exit(main())
