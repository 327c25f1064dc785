"""Columns: what stands at each onset, how wide it is, and where, so that time looks like time.

A slot is everything that stands at one onset: signs, heads (two columns for seconds and unisons),
dots, one column of air. Spare width is given out by (time to the next onset) ** 0.6.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import IntEnum
from fractions import Fraction
from itertools import pairwise

from coach.score.notation import Head, Written, clef_changes
from coach.screens.staff.rows import Form

AIR = 1
"""Empty columns after each slot."""
_STRETCH = 0.6
"""How strongly spare width follows time. Own choice: twice the time gets one and a half times the
width (2 ** 0.6 = 1.5); width in proportion would starve the short notes."""
_MOST_SPARE = 18
"""Most columns added after one slot: further apart, a figure no longer reads as one."""


class SlotKind(IntEnum):
    """What stands in a slot, in the order in which slots of one onset follow each other."""

    BAR = 0
    CLEF = 1
    GRACE = 2
    NOTE = 3
    """Heads, rests, or only a beat that is counted."""
    AFTER = 4
    """Small notes that are played after their main note."""


@dataclass(frozen=True, slots=True)
class Slot:
    """One column group."""

    onset_quarters: Fraction
    kind: SlotKind
    order: int = 0
    """Among slots of one kind at one onset (small notes)."""
    before: int = 0
    """Columns for accidentals."""
    core: int = 1
    """Columns for heads."""
    after: int = 0
    """Columns for dots, flags and long counts."""
    time_quarters: Fraction = Fraction(0)
    """Until the next onset."""

    @property
    def key(self) -> tuple[Fraction, SlotKind, int]:
        """What tells one slot from another."""
        return self.onset_quarters, self.kind, self.order

    @property
    def width(self) -> int:
        """The least width, air included."""
        return self.before + self.core + self.after + AIR


@dataclass(frozen=True, slots=True)
class ChordColumns:
    """The heads of one slot, with the columns of their parts counted from the core's first."""

    heads: tuple[Head, ...]
    head_column: Mapping[int, int]
    """By place in ``heads``."""
    sign_column: Mapping[int, int]
    """By place in ``heads``; negative: to the left."""
    core: int
    before: int
    dots: int


@dataclass
class _FreeColumns:
    occupied: dict[int, list[tuple[int, int]]] = field(default_factory=lambda: defaultdict(list))

    def put(self, staff: int, position: int, reach: int) -> int:
        """The first column where nothing on this staff lies within ``reach`` steps."""
        column = 0
        while any(s == staff and abs(p - position) <= reach for s, p in self.occupied[column]):
            column += 1
        self.occupied[column].append((staff, position))
        return column


def arrange_chord(heads: Sequence[Head], upper: Mapping[int, bool]) -> ChordColumns:
    """Columns of heads and signs; ``upper`` tells by note index whose stem goes up.

    Heads a second or a unison apart stand side by side, the upper voice at the left.
    """
    order = sorted(heads, key=lambda h: (h.staff, not upper.get(h.note, True), h.position))
    beside, signs = _FreeColumns(), _FreeColumns()
    head_column = {i: beside.put(h.staff, h.position, 1) for i, h in enumerate(order)}
    sign_column, before = {}, 0
    for index, head in enumerate(order):
        if head.accidental:
            place = signs.put(head.staff, head.position, 1)
            left = 2 * place + len(head.accidental)
            sign_column[index] = -left
            before = max(before, left)
    dots = max((head.value.dots for head in order), default=0)
    core = 1 + max(head_column.values(), default=0)
    return ChordColumns(tuple(order), head_column, sign_column, core, before, dots)


def add_times(slots: Iterable[Slot]) -> tuple[Slot, ...]:
    """Slots in order, each note slot with the time to the next onset."""
    order = sorted(slots, key=lambda s: (s.onset_quarters, s.kind, s.order))
    onsets = sorted({slot.onset_quarters for slot in order})
    following = dict(pairwise(onsets))
    return tuple(
        replace(slot, time_quarters=following[slot.onset_quarters] - slot.onset_quarters)
        if slot.kind is SlotKind.NOTE and slot.onset_quarters in following
        else slot
        for slot in order
    )


def place_slots(slots: Sequence[Slot], left: int, width: int) -> tuple[int, ...]:
    """The column of each slot's core, from ``left``, using up to ``width`` columns in all."""
    spare = max(width - sum(slot.width for slot in slots), 0)
    weights = [float(slot.time_quarters) ** _STRETCH for slot in slots]
    total = sum(weights) or 1.0
    out, edge, given = [], left, 0.0
    for slot, weight in zip(slots, weights, strict=True):
        out.append(edge + round(given) + slot.before)
        edge += slot.width
        given += min(spare * weight / total, _MOST_SPARE)
    return tuple(out)


def break_pages(slots: Sequence[Slot], width: int, breaks: frozenset[Fraction]) -> list[range]:
    """Slots by page, where they are wider than ``width``.

    A page ends before a beat (``breaks``) where it can, and the next page begins with that
    page's last beat once more, so that it can be turned while that beat is played.
    """
    out: list[range] = []
    first = 0
    while first < len(slots):
        stop = _fill_page(slots, first, width)
        if stop < len(slots):
            stop = _find_last_break(slots, first, stop, breaks)
        out.append(range(first, stop))
        if stop >= len(slots):
            break
        again = _find_last_break(slots, first, stop - 1, breaks)
        first = again if first < again < stop else stop
    return out


def _fill_page(slots: Sequence[Slot], first: int, width: int) -> int:
    used, index = 0, first
    while index < len(slots) and (used + slots[index].width <= width or index == first):
        used += slots[index].width
        index += 1
    return index


def _find_last_break(
    slots: Sequence[Slot], first: int, stop: int, breaks: frozenset[Fraction]
) -> int:
    """The last slot up to ``stop`` that begins a beat, at least half a page on."""
    for index in range(stop, first + (stop - first) // 2, -1):
        starts_onset = slots[index - 1].onset_quarters < slots[index].onset_quarters
        if starts_onset and slots[index].onset_quarters in breaks:
            return index
    return stop


SlotKey = tuple[Fraction, SlotKind, int]
"""Onset, kind and order: what tells one slot from another."""


def gather_chords(written: Written) -> dict[SlotKey, ChordColumns]:
    """The heads of each slot."""
    upper = {head.note: stem.up for stem in written.stems for head in stem.heads}
    together: dict[SlotKey, list[Head]] = defaultdict(list)
    for head in written.heads:
        together[slot_key(head)].append(head)
    return {key: arrange_chord(group, upper) for key, group in together.items()}


def slot_key(head: Head) -> SlotKey:
    """The slot in which a head stands."""
    if not head.grace:
        return head.onset_quarters, SlotKind.NOTE, 0
    kind = SlotKind.AFTER if head.after else SlotKind.GRACE
    return head.onset_quarters, kind, -head.grace


def gather_slots(
    written: Written, chords: Mapping[SlotKey, ChordColumns], form: Form
) -> tuple[Slot, ...]:
    """Every slot of the window, in order."""
    alone = {group.stems[0].onset_quarters for group in written.beams if len(group.stems) == 1}
    out = []
    onsets = {rest.onset_quarters for rest in written.rests} | written.beats
    for key in set(chords) | {(onset, SlotKind.NOTE, 0) for onset in onsets}:
        chord = chords.get(key)
        core = chord.core if chord else 1
        after = max(chord.dots if chord else 0, 1 if key[0] in alone else 0)
        text = len(written.counts.get(key[0], "")) if key[1] is SlotKind.NOTE else 0
        if chord and not form.stacked_fingers:
            text = max(text, _fingers_width(chord))
        after = max(after, text - core)
        onset, kind, order = key
        out.append(Slot(onset, kind, order, chord.before if chord else 0, core, after))
    return add_times([*out, *_list_bar_slots(written), *_list_clef_slots(written)])


def _fingers_width(chord: ChordColumns) -> int:
    widths: dict[object, int] = defaultdict(int)
    for head in chord.heads:
        widths[head.staff, head.hand] += len("-".join(head.fingering))
    return max(widths.values(), default=0)


def _list_bar_slots(written: Written) -> list[Slot]:
    """A barline before each bar that begins inside the window, with what changes there."""
    bars = written.score.bars
    out = []
    for before, bar in pairwise(bars):
        if written.start_quarters < bar.onset_quarters <= written.last_quarters:
            extra = 1 + abs(bar.key_fifths) if bar.key_fifths != before.key_fifths else 0
            if bar.metre != before.metre:
                extra += 1 + max(len(part) for part in str(bar.metre).split("/"))
            repeats = int(bar.repeat_start) + int(before.repeat_end)
            out.append(Slot(bar.onset_quarters, SlotKind.BAR, before=repeats, after=extra))
    return out


def _list_clef_slots(written: Written) -> list[Slot]:
    """A place for each clef that changes inside the window."""
    onsets = {
        clef.onset_quarters
        for staff in {head.staff for head in written.heads}
        for clef in clef_changes(
            written.score, staff, written.start_quarters, written.last_quarters
        )
    }
    return [Slot(onset, SlotKind.CLEF) for onset in onsets]
