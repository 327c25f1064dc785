"""What is printed besides heads: touch and ornaments at the notes, dynamics, words, long lines.

A mark belongs to a voice at an onset, so the notes of a chord share it. A fermata, and the end of a
slur, stand at the last piece of a tied note, all else at its first (common practice).
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from coach.score.model import Direction, LineKind, NoteMark, PrintedLine, Score
from coach.score.window import Excerpt

if TYPE_CHECKING:
    from coach.score.notation.written import Head

_AT_LAST_PIECE = frozenset({NoteMark.FERMATA, NoteMark.SLUR_END})
_NO_SIGN_OF_ITS_OWN = frozenset({NoteMark.UNDER_SLUR, NoteMark.SMALL_PRINT, NoteMark.SLASH})
_LETTERS = r"p+|f+|m[pf]|s?f+[pz]p?|s?f+zp?|sfp+|rfz?|fp+|pf|n"
_DYNAMIC = re.compile(rf"{_LETTERS}|\((?:{_LETTERS})(?: [<>])?\)")
"""A dynamic as it is printed, in letters, or in brackets as it is in force; any other direction is
words."""
_LEVEL = re.compile(r"p+|f+|m[pf]")
_LEVEL_AFTER = {"fp": "p", "sfp": "p", "sfpp": "pp", "pf": "f"}
"""An accent is over at once (common practice); these say how it goes on."""
_SWELLS = {"cresc": "<", "decresc": ">", "dim": ">"}
"""How words that mean a hairpin begin."""


@dataclass(frozen=True, slots=True)
class Touch:
    """The marks of one voice at one onset, or of one small note."""

    staff: int
    voice: str
    onset_quarters: Fraction
    grace: int
    """As a head's: 0, or the place in a row of small notes."""
    after: bool
    marks: frozenset[NoteMark]


def find_touches(excerpt: Excerpt, heads: Sequence[Head]) -> tuple[Touch, ...]:
    """Every mark in sight, at the heads that are drawn."""
    last_piece: dict[int, Head] = {}
    for head in heads:
        last_piece[head.note] = head
    found: dict[tuple[int, str, Fraction, int, bool], set[NoteMark]] = defaultdict(set)
    for head in heads:
        given = excerpt.notes[head.note].marks - _NO_SIGN_OF_ITS_OWN
        here = given - _AT_LAST_PIECE if head.first else frozenset()
        if last_piece[head.note] is head:
            here |= given & _AT_LAST_PIECE
        if here:
            key = head.staff, head.voice, head.onset_quarters, head.grace, head.after
            found[key] |= here
    return tuple(Touch(*key, frozenset(marks)) for key, marks in sorted(found.items()))


def is_dynamic(direction: Direction) -> bool:
    """Whether it is a dynamic in letters, and not words."""
    return _DYNAMIC.fullmatch(direction.text) is not None


def find_directions(
    score: Score, staves: frozenset[int], start: Fraction, end: Fraction
) -> tuple[Direction, ...]:
    """The dynamics and words from ``start`` up to ``end``, on the nearest staff in sight."""
    inside = (one for one in score.directions if start <= one.onset_quarters < end)
    return tuple(
        Direction(one.onset_quarters, _nearest(one.staff, staves), one.text)
        for one in inside
        if one.text.strip()
    )


def dynamics_in_force(
    score: Score, staves: frozenset[int], start: Fraction
) -> tuple[Direction, ...]:
    """How loud it is where a window begins, in brackets, as editors add what print has not there:
    the last level before it, with ``<`` or ``>`` where it has grown or sunk since."""
    levels = [
        (one.onset_quarters, one.staff, level)
        for one in score.directions
        if one.onset_quarters <= start and (level := _level(one.text))
    ]
    last = max((onset for onset, _, _ in levels), default=start)
    if last == start:
        return ()
    sign = _swell_since(score, last, start)
    brackets = {
        _nearest(staff, staves): f"({level}{sign})"
        for onset, staff, level in levels
        if onset == last
    }
    if len(set(brackets.values())) == 1:  # of both hands it is said once
        brackets = dict([min(brackets.items())])
    return tuple(Direction(start, staff, text) for staff, text in sorted(brackets.items()))


def _level(text: str) -> str:
    """The level that a direction sets, also among words (``sempre pp``); "" for none."""
    words = [_LEVEL_AFTER.get(word, word) for word in text.split()]
    return next((word for word in words if _LEVEL.fullmatch(word)), "")


def _swell_since(score: Score, last: Fraction, start: Fraction) -> str:
    """The last hairpin that is over, or the last word for one, between two onsets."""
    swells = [
        (line.end_quarters, " <" if line.kind is LineKind.CRESCENDO else " >")
        for line in score.lines
        if line.kind is not LineKind.PEDAL
        and last <= line.start_quarters < line.end_quarters <= start
    ] + [
        (one.onset_quarters, f" {sign}")
        for one in score.directions
        for begin, sign in _SWELLS.items()
        if last <= one.onset_quarters < start and one.text.casefold().startswith(begin)
    ]
    return max(swells, default=(start, ""))[1]


def find_lines(
    score: Score, staves: frozenset[int], start: Fraction, end: Fraction
) -> tuple[PrintedLine, ...]:
    """The hairpins and pedal marks that lie over any of this time; a pedal stands lowest."""
    return tuple(
        PrintedLine(
            line.kind,
            max(staves) if line.kind is LineKind.PEDAL else _nearest(line.staff, staves),
            line.start_quarters,
            line.end_quarters,
        )
        for line in score.lines
        if line.start_quarters < end and line.end_quarters > start
    )


def _nearest(staff: int, staves: frozenset[int]) -> int:
    return min(staves, key=lambda one: (abs(one - staff), one))
