"""Rows of one hand that are written even and played long and short by turns."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import median

from coach.judging.timing_rows import Points, even_runs
from coach.judging.timing_turns import Row, Turns
from coach.judging.tolerance import Tolerance
from coach.score.model import Hand

_LEAST_POINTS = 3
"""Onsets of a row of which one has a middle to be displaced from."""
_LIKELY = 3.25
"""The delay against its standard error from which it is worth a word, but not held against
anybody: about the z limit (3.5, Iglewicz & Hoaglin 1993). Our own choice: at 3.5 five planted rows
in 129 fewer are heard; at 3.0 practice-room timing is told of twice as often."""
_SURE = 5.0
"""...and from which it counts: of all stretches of all rows the likeliest is looked at, and in
practice strokes scatter unevenly."""
_TOGETHER_S = 0.02
"""Scatter between the hands where both strike: a professional's for each (8 ms, Jabusch 2006) and
some for practice. Where the other hand is late with this one the pulse is uneven, not the row."""
_MOST_SHARED = 16.0
"""What the other hand may say at most, as a square of standard errors."""
_UNSEEN = 3
"""How many onsets it is worth that hands mostly strike together, where none between is shared."""
_SCATTER_WEIGHT = 3
"""For how many seen squares the usual scatter stands."""


@dataclass(frozen=True, slots=True)
class Uneven:
    """A stretch of a row that was played long and short by turns."""

    hand: Hand
    first: int
    """Moment of the first displaced onset."""
    last: int
    """Moment of the last one."""
    ratio: float
    """Long against short."""
    size_s: float
    """How far the displaced onsets are from even, on average."""
    sure: bool = True
    """False where it is likelier than not, but may be practice's own scatter."""
    surprise: float = _SURE
    """The delay in standard errors."""


def uneven(points: Points, broken: frozenset[int], tolerance: Tolerance) -> tuple[Uneven, ...]:
    """Rows played long and short by turns, the plainest stretch of each hand.

    ``broken`` are the moments that something came before: no row runs across it.
    """
    rows = [
        (hand, Row(run))
        for hand in Hand
        for run in even_runs(points[hand], broken)
        if len(run) >= _LEAST_POINTS
    ]
    if not rows:
        return ()
    whole = _sum(row.squares() for _, row in rows)
    times = {hand: {moment: at_s for moment, at_s, _ in points[hand]} for hand in Hand}
    best: dict[Hand, Uneven] = {}
    for hand, row in rows:
        other = times[Hand.LEFT if hand is Hand.RIGHT else Hand.RIGHT]
        for turns in row.turns():
            if _is_large(row, turns, tolerance) and not row.is_one(turns):
                square = _sureness(row, turns, whole) + _beside(row, turns, other)
                surprise = sqrt(max(square, 0.0))
                if surprise > (best[hand].surprise if hand in best else _LIKELY):
                    best[hand] = _told(hand, row, turns, surprise)
    return tuple(best.values())


def _sum(squares: Iterator[tuple[float, int]]) -> tuple[float, int]:
    both = list(squares)
    return sum(square for square, _ in both), sum(count for _, count in both)


def _is_large(row: Row, turns: Turns, tolerance: Tolerance) -> bool:
    """Whether it is beyond what the tolerance leaves to expression."""
    limit = (tolerance.uneven_ratio - 1) / (tolerance.uneven_ratio + 1)
    return turns.delay_s > max(limit * row.gap_s, tolerance.uneven_ms / 1000)


def _sureness(row: Row, turns: Turns, whole: tuple[float, int]) -> float:
    """The delay in standard errors, squared, by the scatter round it and of all else."""
    near, count = row.squares_round(turns)
    left = turns.left + whole[0] - near + _SCATTER_WEIGHT
    free = turns.free + whole[1] - count + _SCATTER_WEIGHT
    return turns.gain * free / left


def _beside(row: Row, turns: Turns, other: Mapping[int, float]) -> float:
    """What the other hand says where it strikes too, as twice a log likelihood ratio.

    Above 0 where the displaced onsets come after the other hand's, below where with them.
    """
    late = _after(row, turns.late, other)
    if not late:
        return 0.0
    inner = range(max(turns.first - 1, 0), min(turns.late[-1] + 2, len(row.points)))
    between = _after(row, [i for i in inner if i not in turns.late], other)
    gone = median(late) - (median(between) if between else 0.0)
    square = _TOGETHER_S**2 * (1 / len(late) + 1 / max(len(between), _UNSEEN))
    said = (gone**2 - (gone - turns.delay_s) ** 2) / square
    return max(-_MOST_SHARED, min(said, _MOST_SHARED))


def _after(row: Row, onsets: Sequence[int], other: Mapping[int, float]) -> list[float]:
    """How long after the other hand's these onsets come, where both strike."""
    pairs = ((row.points[i][0], row.points[i][1]) for i in onsets)
    return [at_s - other[moment] for moment, at_s in pairs if moment in other]


def _told(hand: Hand, row: Row, turns: Turns, surprise: float) -> Uneven:
    late = row.widened(turns).late
    share = min(turns.delay_s / row.gap_s, 0.9)
    ratio = (1 + share) / (1 - share)
    first, last = row.points[late[0]][0], row.points[late[-1]][0]
    return Uneven(hand, first, last, ratio, turns.delay_s, surprise > _SURE, surprise)
