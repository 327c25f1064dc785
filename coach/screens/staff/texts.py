"""A slot, what stands at one onset, and what is written in letters and signs over and under it.

Fingers, touch, dynamics and pedal are text at their onset; hairpins and pedal lines go on from
there (:mod:`.drawing`). How wide they are decides how far apart the notes stand, so both character
sets have signs of the same width.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum, StrEnum
from fractions import Fraction

from coach.score.model import Hand, LineKind, NoteMark
from coach.score.notation import SUGGESTED, Head, Touch, Written, is_dynamic
from coach.screens.staff.glyphs import Glyphs


class SlotKind(IntEnum):
    """What stands in a slot, in the order in which slots of one onset follow each other."""

    BAR = 0
    CLEF = 1
    GRACE = 2
    NOTE = 3
    """Heads, rests, or only a beat that is counted."""
    AFTER = 4
    """Small notes that are played after their main note."""


SlotKey = tuple[Fraction, SlotKind, int]
"""Onset, kind and order: what tells one slot from another."""


class TextKind(StrEnum):
    """What a text says; each kind has a lane, of its own or with others."""

    FINGERS_RIGHT = "right hand's fingers"
    FINGERS_LEFT = "left hand's fingers"
    TOUCH_UP = "touch of the upper voice"
    """Articulation, ornaments, slurs, fermatas."""
    TOUCH_DOWN = "touch of the lower voice"
    DYNAMICS = "dynamics"
    PEDAL = "pedal"
    WORDS = "words"
    """They take no width: they are written where there is room."""
    MARK = "mark"
    """Not print: what became of the note."""


PrintName = tuple[str, Fraction]
"""What is printed and at which onset: ``("staccato", 3)``."""


@dataclass(frozen=True, slots=True)
class SlotText:
    """One text, and the names of all the print that it shows."""

    text: str
    names: frozenset[PrintName] = frozenset()

    def beside(self, other: SlotText, between: str) -> SlotText:
        """Both, this one first."""
        return SlotText(between.join((self.text, other.text)), self.names | other.names)


SlotTexts = Mapping[TextKind, SlotText]
"""The texts of one slot on one staff."""

LINE_STARTS = {LineKind.CRESCENDO: "<", LineKind.DIMINUENDO: ">", LineKind.PEDAL: "Ped"}
PEDAL_UP = "*"
TEXT_OF_LINE = {
    LineKind.CRESCENDO: TextKind.DYNAMICS,
    LineKind.DIMINUENDO: TextKind.DYNAMICS,
    LineKind.PEDAL: TextKind.PEDAL,
}


def touch_text(marks: frozenset[NoteMark], glyphs: Glyphs) -> str:
    """``(.`` where a slur begins on a staccato, ``>)`` where one ends on an accent: a slur's sign
    stands outside. The sign of an arpeggio stands before its chord."""
    inside = "".join(sign for mark, sign in glyphs.touch.items() if mark in marks)
    starts, ends = NoteMark.SLUR_START in marks, NoteMark.SLUR_END in marks
    if starts and ends:
        return f"){inside}("
    return f"{'(' * starts}{inside}{')' * ends}"


def fingers_text(heads: Iterable[Head], hand: Hand) -> str:
    """The fingers of one hand side by side, the lowest note's first; where all of them are only
    suggested, that is said once."""
    order = sorted(heads, key=lambda head: head.position)
    mine = [head for head in order if head.hand is hand and head.fingering]
    if mine and all(head.fingering_is_suggested for head in mine):
        return "".join("-".join(head.fingering) for head in mine) + SUGGESTED
    return "".join(head.fingering_words for head in mine)


class TextGatherer:
    """Gathers the texts of every slot; a slot is told by its key, whose first is its onset."""

    def __init__(
        self, written: Written, onsets: Mapping[Fraction, SlotKey], glyphs: Glyphs
    ) -> None:
        """``onsets``: the slot of each onset that has one; words go to the one at or before."""
        self._written, self._slots, self._glyphs = written, onsets, glyphs
        self._order = sorted(onsets)
        self._texts: dict[SlotKey, dict[int, dict[TextKind, SlotText]]] = defaultdict(
            lambda: defaultdict(dict)
        )

    def gather(
        self, heads: Mapping[SlotKey, Sequence[Head]], touches: Mapping[SlotKey, Sequence[Touch]]
    ) -> Mapping[SlotKey, Mapping[int, SlotTexts]]:
        """By slot and staff."""
        for key, group in heads.items():
            for head in group:
                if head.fingering:
                    on_staff = [one for one in group if one.staff == head.staff]
                    text = fingers_text(on_staff, head.hand)
                    names = frozenset({("fingering", key[0])})
                    self._texts[key][head.staff][FINGERS[head.hand]] = SlotText(text, names)
        stems = self._written.stems
        up = {(stem.staff, stem.voice, stem.onset_quarters): stem.up for stem in stems}
        for key, here in touches.items():
            for touch in here:
                is_up = up.get((touch.staff, touch.voice, touch.onset_quarters), True)
                kind = TextKind.TOUCH_UP if is_up else TextKind.TOUCH_DOWN
                names = frozenset(
                    (mark.value, key[0]) for mark in touch.marks if mark is not NoteMark.ARPEGGIO
                )
                touched = SlotText(touch_text(touch.marks, self._glyphs), names)
                self._add(key, touch.staff, kind, touched)
        self._gather_lines()
        for one in self._written.directions:
            if is_dynamic(one):
                key = self.slot_at(one.onset_quarters)
                dynamic = SlotText(one.text, frozenset({("dynamic", one.onset_quarters)}))
                self._add(key, one.staff, TextKind.DYNAMICS, dynamic, first=True)
        return self._texts

    def slot_at(self, onset: Fraction) -> SlotKey:
        """The slot of an onset, or the last before it."""
        return self._slots[self._order[max(bisect_right(self._order, onset) - 1, 0)]]

    def _gather_lines(self) -> None:
        start = self._written.start_quarters
        for line in sorted(self._written.lines, key=lambda one: one.end_quarters):
            kind = TEXT_OF_LINE[line.kind]
            if line.kind is LineKind.PEDAL and line.end_quarters <= self._order[-1]:
                end = self.slot_at(line.end_quarters)
                self._add(end, line.staff, kind, SlotText(PEDAL_UP), first=True)
            key = self.slot_at(max(line.start_quarters, start))
            names = frozenset({(LINE_NAMES[line.kind], line.start_quarters)})
            self._add(key, line.staff, kind, SlotText(LINE_STARTS[line.kind], names))

    def _add(
        self, key: SlotKey, staff: int, kind: TextKind, text: SlotText, *, first: bool = False
    ) -> None:
        """Beside what is there; the same twice is said once. Dynamics have a space between."""
        if not text.text:
            return
        before = self._texts[key][staff].get(kind)
        if before is None:
            now = text
        elif before.text == text.text:
            now = SlotText(text.text, text.names | before.names)
        else:
            apart = kind is TextKind.DYNAMICS and before.text not in _WEDGES
            one, other = (text, before) if first else (before, text)
            now = one.beside(other, " " if apart else "")
        self._texts[key][staff][kind] = now


_WEDGES = (LINE_STARTS[LineKind.CRESCENDO], LINE_STARTS[LineKind.DIMINUENDO])
LINE_NAMES = {
    LineKind.CRESCENDO: "hairpin",
    LineKind.DIMINUENDO: "hairpin",
    LineKind.PEDAL: "pedal",
}
FINGERS = {Hand.RIGHT: TextKind.FINGERS_RIGHT, Hand.LEFT: TextKind.FINGERS_LEFT}


_STANDS_APART = frozenset({*FINGERS.values(), TextKind.DYNAMICS})


def place_texts(
    group: Sequence[TextKind], texts: SlotTexts
) -> tuple[tuple[tuple[TextKind, int, SlotText], ...], int]:
    """The texts of one lane with their columns from the core's first, and the column after.

    One column is left beside fingers and dynamics, so that nothing runs together with them.
    """
    out: list[tuple[TextKind, int, SlotText]] = []
    at, was_apart = 0, False
    for kind in group:
        if text := texts.get(kind):
            at += bool(out) and not was_apart and kind in _STANDS_APART
            out.append((kind, at, text))
            was_apart = kind in _STANDS_APART
            at += len(text.text) + was_apart
    return tuple(out), at
