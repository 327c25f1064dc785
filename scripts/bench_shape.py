"""Hearing what is marked for foot and weight: pedal, p against f, hairpins, at the stage ``shape``.

    python -m scripts.bench_shape [--seed 1] [--windows 200]

The windows and their timing are those of ``bench_rhythm``; marks are set on them at random. The
foot that plays them is no model of the judge's: each player has a way of their own (after the key,
or with it), times are log-normal, and a pedal sends a ramp of values, some of them half down and
trembling. Loudness is that of the recording or the made piece, and the marks come on top of it. All
figures of the models are our own choice, from what is usual at a digital piano.

"Told" is the share of windows in which any fault of the kind is told, whatever else is.
"""

from __future__ import annotations

import argparse
import random
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from math import log

from coach.judging.judge import judge
from coach.judging.model import Cause, Stage
from coach.playing.notes import PedalMove, PlayedNote
from coach.score.model import Direction, LineKind, PrintedLine
from coach.score.window import Excerpt
from scripts.bench_rhythm import PLAYERS, Played, by_player, draw, material

PEDAL = {Cause.LATE_PEDAL, Cause.NO_PEDAL, Cause.PEDAL_NOT_CHANGED}
LOUDNESS = {Cause.NO_CONTRAST, Cause.NO_HAIRPIN}
LIFT_S = 0.1
"""A foot that came up goes down again after so long at the soonest."""
FOOT = ("as marked", "one late", "one left out", "one not changed")
HAND = ("as marked", "all alike", "the other way")


@dataclass
class Foot:
    """How somebody pedals."""

    after_s: float
    """The middle of how long after its onset the pedal goes down; 0: with the key."""
    spread: float
    """Of that, as a standard deviation of its logarithm."""
    depth: int
    trembles: int

    @classmethod
    def draw(cls, dice: random.Random) -> Foot:
        """A pianist's, or a beginner's."""
        after_s = dice.choice((0.0, dice.uniform(0.08, 0.2)))
        half = dice.random() < 0.3
        depth = dice.randrange(78, 100) if half else 127
        return cls(after_s, dice.uniform(0.2, 0.45), depth, 8 if half else 0)

    def press(self, down_s: float, up_s: float, dice: random.Random) -> Iterator[PedalMove]:
        """A ramp down, what trembles in between, and a ramp up."""
        ramp_s = min(dice.uniform(0.03, 0.1), (up_s - down_s) / 3)
        for k in range(1, 6):
            yield PedalMove(64, self.depth * k // 5, down_s + ramp_s * (k / 5 - 0.5))
        at_s = down_s + ramp_s
        while self.trembles and at_s < up_s - ramp_s:
            value = self.depth + dice.randint(-self.trembles, self.trembles)
            yield PedalMove(64, min(value, 127), at_s)
            at_s += dice.uniform(0.05, 0.2)
        for k in range(4, -1, -1):
            yield PedalMove(64, self.depth * k // 5, up_s + ramp_s * (0.5 - k / 5))


def mark_pedal(played: Played, dice: random.Random) -> list[tuple[float, float]]:
    """From which onset to which each mark is: one to four beats, from beat to beat."""
    beat_x = float(played.window.grid_quarters[1] - played.window.grid_quarters[0])
    places = [x for x, _ in played.onsets() if x % beat_x < 1e-6]
    marks, at = [], 0
    while at < len(places) - 1:
        to = next((k for k in range(at + 1, len(places))
                   if places[k] - places[at] >= beat_x * dice.choice((1, 2, 2, 4))),
                  len(places) - 1)  # fmt: skip
        marks.append((places[at], places[to]))
        at = to
    return marks


def bass(window: Excerpt, start: float, end: float) -> int:
    """The lowest pitch class that begins within a mark."""
    inside = [n.pitch for n in window.notes if start <= n.onset_quarters < end]
    return min(inside) % 12 if inside else -1


def pedalled(
    played: Played, kind: str, dice: random.Random
) -> tuple[Excerpt, list[PedalMove]] | None:
    """The window with marks, and what the foot did."""
    marks, at, foot = mark_pedal(played, dice), dict(played.onsets()), Foot.draw(dice)
    able = list(range(len(marks)))
    if kind == "one not changed":
        able = [k for k in able[:-1] if bass(played.window, *marks[k])
                != bass(played.window, *marks[k + 1])]  # fmt: skip
    if not able:
        return None
    chosen = dice.choice(able) if kind != "as marked" else -1
    spans = []
    for k, (start, end) in enumerate(marks):
        span_s = at[end] - at[start]
        after_s = foot.after_s and dice.lognormvariate(log(foot.after_s), foot.spread)
        down_s = at[start] + min(after_s, 0.2 * span_s) + dice.gauss(0, 0.02)
        early_s = 0.0 if foot.after_s else min(dice.uniform(0, 0.2), 0.3 * span_s)
        up_s = at[end] - early_s + dice.gauss(0.02, 0.03)
        if kind == "one late" and k == chosen:
            down_s = at[start] + max(dice.uniform(0.45, 0.9), dice.uniform(0.4, 0.6) * span_s)
        if kind == "one not changed" and k == chosen:
            up_s += dice.uniform(0.5, 1.2)
        if not (kind == "one left out" and k == chosen):
            spans.append((down_s, up_s))
    for k in range(1, len(spans)):
        down_s = max(spans[k][0], spans[k - 1][1] + LIFT_S)
        spans[k] = (down_s, max(spans[k][1], down_s + LIFT_S))
    moves = [move for down_s, up_s in spans if up_s - down_s > LIFT_S / 2
             for move in foot.press(down_s, up_s, dice)]  # fmt: skip
    lines = tuple(
        PrintedLine(LineKind.PEDAL, 2, Fraction(a).limit_denominator(96),
                    Fraction(b).limit_denominator(96))
        for a, b in marks
    )  # fmt: skip
    return replace(played.window, lines=lines), sorted(moves, key=lambda move: move.at_s)


def louder(
    played: Played, kind: str, hairpin: bool, dice: random.Random
) -> tuple[Excerpt, list[PlayedNote]] | None:
    """The window with a step between p and f, or a hairpin all through; and how it was struck."""
    places = [x for x, _ in played.onsets()]
    if len(places) < 8:
        return None
    way = dice.choice((1, -1))
    size = max(dice.gauss(15, 5), 7) if hairpin else max(dice.gauss(20, 6), 9)
    size *= {"as marked": 1, "all alike": 0, "the other way": -1}[kind]
    bend, middle = dice.choice((0.6, 1.0, 1.8)), places[len(places) // 2]
    by = {}
    for x in places:
        share = (x / places[-1]) ** bend if hairpin else float(x >= middle)
        by[x] = way * size * (share - 0.5) + dice.gauss(0, 2)
    last, half = (Fraction(x).limit_denominator(96) for x in (places[-1], middle))
    window = played.window
    if hairpin:
        name = LineKind.CRESCENDO if way > 0 else LineKind.DIMINUENDO
        window = replace(window, lines=(PrintedLine(name, 1, Fraction(0), last),))
    else:
        names = ("p", "f") if way > 0 else ("f", "p")
        marks = (Direction(Fraction(0), 1, names[0]), Direction(half, 1, names[1]))
        window = replace(window, directions=marks)
    row = played.onsets()
    times = [at_s for _, at_s in row]
    notes = []
    for note in played.notes:
        x = row[max(bisect_right(times, note.onset_s + 0.03) - 1, 0)][0]
        notes.append(replace(note, velocity=min(max(round(note.velocity + by[x]), 1), 127)))
    return window, notes


def run(seed: int, windows: int) -> None:
    """Print the shares of one seed."""
    stock = material(seed)
    told: defaultdict[str, list[bool]] = defaultdict(list)
    for number in range(windows):
        dice = random.Random(f"{seed}/{number}")
        played = by_player(draw(stock, dice), dice.choice(PLAYERS), dice)
        for kind in FOOT:
            foot = pedalled(played, kind, random.Random(f"{seed}/{number}/foot"))
            if foot is not None:
                take = judge(foot[0], played.notes, stage=Stage.SHAPE, pedals=foot[1])
                told[f"pedal {kind}"].append(any(one.cause in PEDAL for one in take.faults))
        for hairpin in (False, True):
            name = "hairpin" if hairpin else "p and f"
            for kind in HAND:
                made = louder(played, kind, hairpin, random.Random(f"{seed}/{number}/hand"))
                if made is not None:
                    take = judge(made[0], made[1], stage=Stage.SHAPE)
                    heard = any(one.cause in LOUDNESS for one in take.faults)
                    told[f"{name} {kind}"].append(heard)
    for name, rows in told.items():
        print(f"{name:24}{len(rows):6}{sum(rows) / len(rows):7.3f}")


def main() -> None:
    """Read the command line, run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--windows", type=int, default=200)
    given = parser.parse_args()
    run(given.seed, given.windows)


if __name__ == "__main__":
    main()
