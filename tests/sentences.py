"""Every sentence on a repetition, with a take that makes it: a list to read, and to test.

``python -m scripts.sentences`` prints it. The takes are in the notation of ``tests/notated.py``.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction as F

from coach.judging.judge import judge
from coach.judging.model import Judgement, Stage
from tests.notated import Lines, all_of, played, written

RH = "C4 D4 E4 F4 G4 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4"
LH = "C3 D3 E3 F3 G3 A3 B3 C4 B3 A3 G3 F3 E3 D3 C3 D3"
SCALE = {"RH": RH}
"""Two bars of eighths."""
BOTH = {"RH": RH, "LH": LH}
SIXTEENTHS = {"RH": f"{RH} {RH}"}


def words_of(line: str, changes: dict[int, str]) -> str:
    """A line with some words, counted from 1, in place of its own."""
    return " ".join(changes.get(at, word) for at, word in enumerate(line.split(), 1))


def first(line: str, count: int) -> str:
    """Its first words."""
    return " ".join(line.split()[:count])


def octave_up(line: str, start: int, end: int) -> str:
    """The words from one to another, counted from 1, an octave higher."""
    return " ".join(
        f"{word[:-1]}{int(word[-1]) + 1}" if start <= at <= end else word
        for at, word in enumerate(line.split(), 1)
    )


@dataclass(frozen=True)
class Take:
    """What is written, what was played of it, and what is said."""

    sentence: str
    score: Lines
    right: str | None = None
    """What the right hand played; None: as written."""
    left: str | None = None
    each: F = F(1, 2)
    qpm: float = 80.0
    stage: Stage = Stage.RHYTHM
    warp: Callable[[float], float] = float

    @property
    def lines(self) -> Lines:
        """What was played, a line for each hand."""
        own = {"RH": self.right, "LH": self.left}
        lines = {hand: own[hand] or line for hand, line in self.score.items()}
        return {hand: re.sub(r"\*\S+", "", line) for hand, line in lines.items()}

    def judge(self) -> Judgement:
        """The verdict."""
        keys = played(self.score, self.lines, each=self.each, qpm=self.qpm, warp=self.warp)
        window = all_of(written(self.score, self.each), self.score)
        return judge(window, keys, stage=self.stage)


SAID_ONCE = (
    Take("Clean", BOTH),
    Take("RH A flat for G at bar 1 beat 3", BOTH, words_of(RH, {5: "Ab4"})),
    # The same in both hands.
    Take("Both hands an octave too high from bar 1 beat 2", BOTH, octave_up(RH, 3, 6),
         octave_up(LH, 3, 6)),
    Take("Both hands G an octave too high at bar 1 beat 3", BOTH, octave_up(RH, 5, 5),
         octave_up(LH, 5, 5)),
    # How often.
    Take("G missed twice, first at bar 1 beat 3", SCALE, words_of(RH, {5: "-", 11: "-"})),
    Take("Stumbled twice, first at bar 1 beat 4", SCALE,
         "C4 D4 E4 F4 G4 A4 |0.6|@5:G4 A4 B4 C5 B4 A4 G4 |.6|@10:A4 G4 F4 E4 D4 C4 D4"),
    Take("Broke off at bar 1 beat 3 and started again twice", SCALE,
         f"C4 D4 E4 F4 |1.2|@1:C4 D4 E4 F4 G4 |1.2|@1:{RH}"),
    # Where it began and stopped, and which hand.
    Take("Began at bar 1 beat 3", SCALE, words_of(RH, dict.fromkeys(range(1, 5), "-"))),
    Take("Stopped before bar 2 beat 3", SCALE, first(RH, 12)),
    Take("Stopped before bar 2, the & of 4", SCALE, first(RH, 15)),
    Take("G missed at bar 1 beat 3; then stopped", SCALE, first(words_of(RH, {5: "-"}), 12)),
    Take("RH stopped before bar 2, the & of 1, LH played on", BOTH, first(RH, 9)),
    Take("LH stopped before bar 2, the & of 3, RH played on", BOTH, None, first(LH, 13)),
    Take("RH stopped before bar 1, the & of 4, LH played on", BOTH, first(RH, 7), first(LH, 13)),
    Take("RH D missed at bar 2, the & of 4", BOTH, first(RH, 15)),
    # What spans some of the window, and all of it.
    Take("Hand lies a step too high from bar 1 beat 3", SCALE,
         words_of(RH, {5: "A4", 6: "B4", 7: "C5"})),
    Take("Hand lies a third too low from bar 2 beat 2 on", SCALE,
         words_of(RH, {12: "D4", 13: "C4", 14: "B3", 15: "A3", 16: "B3"})),
    Take("4 notes left out from bar 1, the & of 2", SCALE,
         words_of(RH, dict.fromkeys(range(4, 8), "-"))),
    Take("Faster and faster (1.8 times)", SCALE, warp=lambda at: at - 0.04 * max(at - 1, 0) ** 2),
)  # fmt: skip
"""What is one thing to the player is said once, with its span, its hands and how often."""
