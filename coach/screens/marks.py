"""Marks: what became of each note, as a letter and a style, never as colour alone."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

from coach.judging.model import Family, Fault, Judgement, Label
from coach.score.window import Excerpt


class MarkKind(IntEnum):
    """What became of a note; where notes share a mark cell, the highest is shown."""

    SOUNDING = -1
    """It is being heard."""
    RIGHT = 0
    LATE = 1
    EARLY = 2
    AGAIN = 3
    EXTRA = 4
    MISSED = 5
    WRONG = 6


@dataclass(frozen=True, slots=True)
class MarkSymbol:
    """How a mark looks and what it is called."""

    char: str
    words: str


MARK_SYMBOLS = {
    MarkKind.SOUNDING: MarkSymbol("o", "sounds now"),
    MarkKind.RIGHT: MarkSymbol("=", "as written"),
    MarkKind.LATE: MarkSymbol("L", "late"),
    MarkKind.EARLY: MarkSymbol("E", "early"),
    MarkKind.AGAIN: MarkSymbol("A", "played again"),
    MarkKind.EXTRA: MarkSymbol("+", "a note too many"),
    MarkKind.MISSED: MarkSymbol("M", "missed"),
    MarkKind.WRONG: MarkSymbol("W", "wrong"),
}

MARK_BY_LABEL: dict[Label | None, MarkKind | None] = {
    None: None,  # a mark is taken away
    Label.MATCHED: MarkKind.RIGHT,
    Label.WRONG: MarkKind.WRONG,
    Label.MISSED: MarkKind.MISSED,
    Label.REPEATED: MarkKind.AGAIN,
    Label.EXTRA: MarkKind.EXTRA,
}


_BY_FAMILY = {
    Family.PITCH: MarkKind.WRONG,
    Family.EXTRA: MarkKind.EXTRA,
    Family.REPEAT: MarkKind.AGAIN,
}
"""Marks of faults that the labels don't show: a wrong key that was put right is matched in the end.
Touch and the tempo as a whole have no mark: the verdict names their place."""


def marks_of(judgement: Judgement) -> dict[int, MarkKind]:
    """Every note's mark after a repetition, by index into the excerpt's notes.

    Notes after the place where it broke off have none.
    """
    marks = {
        one.note: mark
        for one in judgement.score
        if one.reached and (mark := MARK_BY_LABEL[one.label]) is not None
    }
    for fault in judgement.faults:
        note = _note_at(fault, judgement.excerpt)
        mark = _mark_of_fault(fault)
        if note is not None and mark and mark > marks.get(note, MarkKind.RIGHT):
            marks[note] = mark
    return marks


def _mark_of_fault(fault: Fault) -> MarkKind | None:
    if fault.forgiven:
        return None
    if fault.family is Family.TIMING:
        return MarkKind.EARLY if (fault.size_ms or 0) < 0 else MarkKind.LATE
    return _BY_FAMILY.get(fault.family)


def _note_at(fault: Fault, excerpt: Excerpt) -> int | None:
    if fault.note is not None:
        return fault.note
    for index, note in enumerate(excerpt.notes):
        if note.onset_quarters == fault.onset_quarters and note.hand in fault.hands:
            return index
    return None
