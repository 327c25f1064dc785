"""Faults of shape: keys let go too early, slurs broken, staccato held on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from coach.judging.articulation import Hold, Shape
from coach.judging.faults.hands import surer
from coach.judging.faults.location import spanning
from coach.judging.model import Family, Fault
from coach.score.model import Hands
from coach.score.window import Excerpt


def shape_faults(excerpt: Excerpt, shape: Shape) -> Iterator[Fault]:
    """What of the articulation is not as written, in no order."""
    for run in _runs(excerpt, shape.let_go):
        yield _early_release(excerpt, run)
    for hold in shape.gaps:
        yield _at(excerpt, hold, 0.3, "gap under the slur", "broken slur")
    for hold in shape.held_on:
        yield _at(excerpt, hold, 0.25, "staccato not short", "held on")


def _runs(excerpt: Excerpt, holds: tuple[Hold, ...]) -> list[list[Hold]]:
    """Neighbours in one hand within a beat of each other: one lapse, one fault."""
    out: list[list[Hold]] = []
    for hold in holds:
        beat = excerpt.onset_beats[hold.note]
        last = out[-1][-1] if out else None
        if last and last.hand is hold.hand and beat - excerpt.onset_beats[last.note] <= 1:
            out[-1].append(hold)
        else:
            out.append([hold])
    return out


def _early_release(excerpt: Excerpt, run: list[Hold]) -> Fault:
    """It spoils the way onward: the transition away from the first such note, not into it."""
    weight = surer(0.36, max(hold.surprise for hold in run))
    fault = _at(excerpt, run[0], weight, "let go early", "early release")
    first = int(excerpt.onset_beats[run[0].note] // 1)
    return replace(fault, from_beat=first, to_beat=first + 1)


def _at(excerpt: Excerpt, hold: Hold, weight: float, words: str, cause: str) -> Fault:
    onset = excerpt.notes[hold.note].onset_quarters
    return spanning(
        excerpt,
        onset,
        onset,
        Hands(hold.hand),
        Family.RELEASE,
        weight,
        words,
        cause,
        note=hold.note,
        size_ms=(hold.held_s - hold.written_s) * 1000,
    )
