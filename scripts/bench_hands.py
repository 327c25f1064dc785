"""How many notes of a single track get the right hand by a guess, against the staves of scores.

    python -m scripts.bench_hands [FILE ...]

Each score's notes are merged into one track; what ``score/reading/guessed_hands`` guesses is
compared with the staff that each note stands on, beside a split at middle C and the best fixed
split that the score allows. The staff is not always the hand, but the best truth at hand.
"""

from __future__ import annotations

import sys
from fractions import Fraction
from pathlib import Path
from statistics import median

from coach.score.model import Hand, Score
from coach.score.reading import read_score
from coach.score.reading.hands import split_hands
from scripts.corpus import PIANO_SCORES, corpus


def shares(score: Score) -> tuple[float, float, float]:
    """The share of right hands: by our guess, by middle C, by the best fixed split."""
    notes = [note for note in score.notes if note.grace is None]
    truth = [note.hand for note in notes]
    given = [(_ticks(n.onset_quarters), _ticks(n.end_quarters), n.pitch) for n in notes]
    guessed = split_hands(given)
    pitches = [note.pitch for note in notes]
    fixed = [
        _share([Hand.LEFT if pitch < split else Hand.RIGHT for pitch in pitches], truth)
        for split in range(30, 100)
    ]
    return _share(guessed, truth), fixed[30], max(fixed)


def _ticks(quarters: Fraction) -> int:
    return int(quarters * 480)


def _share(hands: list[Hand], truth: list[Hand]) -> float:
    return sum(a is b for a, b in zip(hands, truth, strict=True)) / len(truth)


def main() -> None:
    """Print a line for each score, then the medians and the worst."""
    paths = [Path(name) for name in sys.argv[1:]] or [corpus() / name for name in PIANO_SCORES]
    rows = []
    for path in paths:
        rows.append(shares(read_score(path)))
        print(f"{path.parent.name}/{path.name}: " + _row(rows[-1]))
    for word, pick in (("median", median), ("worst", min)):
        print(f"{word}: " + _row(tuple(pick(column) for column in zip(*rows, strict=True))))


def _row(row: tuple[float, ...]) -> str:
    guess, middle, best = (f"{share:.1%}" for share in row)
    return f"guess {guess}, split at middle C {middle}, best fixed split {best}"


if __name__ == "__main__":
    main()
