"""The damper pedal against its marks: where it came late, was left out, or was not changed.

A pedal mark says from which onset to which the pedal is down. It goes down a little after the
onset, so that nothing of the harmony before is caught (legato pedalling), and comes up with the
first onset after its end. Where no pedal is marked nothing is said of it, and nothing of a hand
that plays alone, for which the pedal is not asked.

Conventions
-----------
Times are seconds on the take's clock; places are onset numbers of the excerpt.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from math import inf
from typing import NamedTuple

from coach.judging.timing import Timing
from coach.playing.midi_events import DAMPER, DOWN_FROM
from coach.playing.notes import PedalMove
from coach.score.model import LineKind, PrintedLine
from coach.score.window import Excerpt

_EARLY_S = 0.1
"""Down so long before its onset it still belongs to it: own choice, since the first pedal of a
phrase is often down with its keys or just before them."""
_LATE_S, _LATE_SHARE = 0.3, 0.25
"""It is late when it comes down after so long, and after this share of its mark. Own choice: a
legato pedal is down within a fifth of a second; a quarter of a long mark leaves the rest of it."""
_CHANGE_S = 0.3
"""It was not changed when it is still down so long after the next harmony. Own choice: fingers and
foot of a pianist are within a tenth of a second of each other, and what rings on for a third of a
second is heard as two harmonies at once."""


class PedalFaultKind(Enum):
    """What was not right with the pedal."""

    LATE = 1
    MISSING = 2
    NOT_CHANGED = 3


@dataclass(frozen=True, slots=True)
class PedalFault:
    """One thing that the pedal did not do, from one onset to another."""

    kind: PedalFaultKind
    first: int
    last: int
    size_s: float = 0.0
    """How late it came down; how long it was still down."""


class PedalDown(NamedTuple):
    """From when to when the damper pedal was down."""

    from_s: float
    to_s: float


def list_pedal_downs(moves: Sequence[PedalMove]) -> tuple[PedalDown, ...]:
    """The stretches with the pedal down, in order of time."""
    out: list[PedalDown] = []
    down_s: float | None = None
    for move in sorted(moves, key=lambda one: one.at_s):
        if move.controller != DAMPER:
            continue
        is_down = move.value >= DOWN_FROM
        if is_down and down_s is None:
            down_s = move.at_s
        elif not is_down and down_s is not None:
            out.append(PedalDown(down_s, move.at_s))
            down_s = None
    if down_s is not None:
        out.append(PedalDown(down_s, inf))
    return tuple(out)


def until_damped_s(up_s: float, downs: Sequence[PedalDown]) -> float:
    """Until when a key sounds that came up at a time: what the pedal holds counts as held."""
    return next((down.to_s for down in downs if down.from_s <= up_s < down.to_s), up_s)


def find_pedal_faults(
    excerpt: Excerpt, timing: Timing, moves: Sequence[PedalMove] | None
) -> tuple[PedalFault, ...]:
    """What was not as marked; nothing where no pedal is marked, or where it is not known."""
    marks = [line for line in excerpt.lines if line.kind is LineKind.PEDAL]
    if moves is None or not marks or excerpt.other_hand:
        return ()
    downs = list_pedal_downs(moves)
    found = [fault for mark in marks for fault in _judge_mark(excerpt, timing, mark, downs)]
    return tuple(_join_missing(found))


def _judge_mark(
    excerpt: Excerpt, timing: Timing, mark: PrintedLine, downs: Sequence[PedalDown]
) -> Iterator[PedalFault]:
    """What was not right with one mark: its beginning, and the change at its end."""
    first = _struck_from(excerpt, timing, mark.start_quarters)
    if first is None:
        return
    after = _struck_from(excerpt, timing, mark.end_quarters)
    start_s = timing.row[timing.at[first]].at_s
    span_s = float(mark.end_quarters - mark.start_quarters) * 60 / (timing.qpm or excerpt.qpm)
    end_s = start_s + span_s if after is None else timing.row[timing.at[after]].at_s
    inside = [
        down for down in downs if down.to_s > start_s + _CHANGE_S and down.from_s < end_s - _EARLY_S
    ]
    if not inside:
        yield PedalFault(PedalFaultKind.MISSING, first, first)
        return
    late_s = inside[0].from_s - start_s
    if late_s > max(_LATE_S, _LATE_SHARE * span_s):
        yield PedalFault(PedalFaultKind.LATE, first, first, late_s)
    over = [d for d in downs if d.from_s < end_s - _EARLY_S and d.to_s > end_s + _CHANGE_S]
    if after is not None and over and _is_new_harmony(excerpt, mark, after):
        yield PedalFault(PedalFaultKind.NOT_CHANGED, after, after, over[-1].to_s - end_s)


def _struck_from(excerpt: Excerpt, timing: Timing, quarters: Fraction) -> int | None:
    """The first onset at or after a place that was struck; None where none was."""
    onsets = excerpt.onsets_quarters
    return next((i for i in range(len(onsets)) if onsets[i] >= quarters and i in timing.at), None)


def _is_new_harmony(excerpt: Excerpt, mark: PrintedLine, after: int) -> bool:
    """Whether something that a mark's pedal holds is no part of what comes next."""
    beat = excerpt.beat_quarters
    begin = excerpt.onsets_quarters[after]
    held = _pitch_classes(excerpt, mark.start_quarters, mark.end_quarters)
    return not held <= _pitch_classes(excerpt, begin, begin + beat)


def _pitch_classes(excerpt: Excerpt, start: Fraction, end: Fraction) -> set[int]:
    return {n.pitch % 12 for n in excerpt.notes if start <= n.onset_quarters < end}


def _join_missing(found: Sequence[PedalFault]) -> Iterator[PedalFault]:
    """Marks left out one after another are one fault."""
    run: PedalFault | None = None
    for fault in found:
        if fault.kind is PedalFaultKind.MISSING:
            run = PedalFault(fault.kind, run.first if run else fault.first, fault.last)
            continue
        if run:
            yield run
        run = None
        yield fault
    if run:
        yield run
