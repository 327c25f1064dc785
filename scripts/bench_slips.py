"""How many windows with one natural slip are heard right, by label and by place.

    python -m scripts.bench_slips [--seed 1] [--count 100]

A window is right where each key and each note has its label (a note struck several times may be
matched with any of its strokes; which strokes of a trill are the two too many does not matter).
"Told" is the share whose first fault lies at the slip's place; for a slide, that none counts.
"""

from __future__ import annotations

import argparse
import random
from collections import Counter
from collections.abc import Iterator
from typing import Any

from coach.judging.alignment.align import match
from coach.judging.judge import judge
from coach.judging.model import Fault, Stage
from scripts.earcases.adapter import excerpt_of, played_of, prediction
from scripts.earcases.cases import windows
from scripts.earcases.material import pieces
from scripts.earcases.natural import found_chord, slid_key, take_cases, trill_case
from scripts.earcases.scoring import Tally
from scripts.earcases.studies import studies


def made(kind: str, seed: int, count: int) -> Iterator[dict[str, Any]]:
    """Windows with one slip of a kind."""
    rng = random.Random(f"{kind}/{seed}")
    if kind in ("trill", "slide"):
        for at in range(count):
            case = trill_case(rng, f"{kind}{at}", kind)
            if case is not None:
                yield case
    else:
        slip = {"found chord": found_chord, "slid key": slid_key}[kind]
        yield from take_cases(slip, windows([*pieces(), *studies(seed, 30)], seed, count), rng)


def is_right(kind: str, case: dict[str, Any], said: dict[str, Any]) -> bool:
    """Whether all labels are right."""
    if kind != "trill":
        return Tally().add(case, said)
    truth = Counter(row["label"] for row in case["truth"]["performed"])
    missing = sum(row["label"] == "missing" for row in case["truth"]["score"])
    mine = Counter(row["label"] for row in said["performed"].values())
    gone = sum(row["label"] == "missing" for row in said["score"].values())
    strays = mine["extra"] + mine["repeated"], mine["substituted"], gone
    return strays == (truth["extra"], 0, missing)


def main() -> None:
    """Read the command line, run, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=100, help="windows of each kind to make")
    parser.add_argument("--show", type=int, default=0, help="so many that are not right, in words")
    given = parser.parse_args()
    for kind in ("found chord", "slid key", "trill", "slide"):
        right = total = 0
        said: Counter[str] = Counter()
        shown = placed = 0
        for case in made(kind, given.seed, given.count):
            excerpt, keys = excerpt_of(case), played_of(case)
            total += 1
            good = is_right(kind, case, prediction(case, excerpt, match(excerpt, keys)))
            right += good
            judgement = judge(excerpt, keys, stage=Stage.NOTES)
            causes = [fault.cause.value for fault in judgement.faults if not fault.forgiven]
            said[causes[0] if causes else "clean"] += 1
            placed += bool(causes) and _is_at(case, judgement.faults[0])
            if not good and shown < given.show:
                shown += 1
                print("   ", judgement.sentence)
        where = "" if kind in ("trill", "slide") else f", at its place {placed / total:.2f}"
        print(f"{kind:12} right {right / total:.2f} of {total}{where}; first told: {dict(said)}")


def _is_at(case: dict[str, Any], fault: Fault) -> bool:
    """Whether a fault lies in the move to the slip's onset."""
    planted = case["truth"]["planted"]
    return bool(planted) and (fault.from_beat, fault.to_beat) == (
        planted[-1]["from_beat"], planted[-1]["to_beat"]
    )  # fmt: skip


if __name__ == "__main__":
    main()
