"""Columns: what stands at each onset, how wide it is, and where, so that time looks like time.

A slot is everything that stands at one onset: signs, heads (side by side for seconds and unisons),
dots, what is written over and under them, one column of air. Spare width is
given out by (time to the next onset) ** 0.6.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise

from coach.score.model import Bar, Barline, NoteMark, Score
from coach.score.notation import Head, Touch, Written, clef_changes
from coach.screens.staff.glyphs import UNICODE, Glyphs, Look
from coach.screens.staff.rows import TOP_LINE, Form, Scale
from coach.screens.staff.texts import SlotKey, SlotKind, SlotTexts, TextKind, place_texts

AIR = 1
"""Empty columns after each slot."""
_STRETCH = 0.6
"""How strongly spare width follows time. Own choice: twice the time gets one and a half times the
width (2 ** 0.6 = 1.5); width in proportion would starve the short notes."""
_MOST_SPARE = 18
"""Most columns added after one slot: further apart, a figure no longer reads as one."""
CLEF_WIDTH = 3
"""Columns of a clef."""


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
    def is_note(self) -> bool:
        """Whether notes, a rest or a beat stand in it, and not a line, a clef or small notes."""
        return self.kind is SlotKind.NOTE

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
    sign_text: Mapping[int, str]
    """By place in ``heads``: the sign, with whose it is where two heads share a row."""
    rolled_column: int | None
    """Where the sign of a broken chord stands; None where there is none."""
    rolled: Rolled
    core: int
    before: int
    dots: int


@dataclass(frozen=True, slots=True)
class Rolled:
    """Which staves' chords are rolled in one slot."""

    staves: frozenset[int] = frozenset()
    is_across: bool = False
    """In one, from the lowest note to the highest of all."""


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


_UNROLLED = Rolled()


def arrange_chord(
    heads: Sequence[Head],
    upper: Mapping[int, bool],
    scale: Scale = Scale.FULL,
    *,
    rolled: Rolled = _UNROLLED,
    narrow: bool = False,
) -> ChordColumns:
    """Columns of heads and signs; ``upper`` tells by note index whose stem goes up.

    Heads a second or a unison apart stand side by side, the upper voice at the left. ``rolled``:
    the sign of a broken chord goes before all.
    """
    order = sorted(heads, key=lambda h: (h.staff, not upper.get(h.note, True), h.position))
    beside, signs = _FreeColumns(), _FreeColumns()
    width = max(head_width(head, scale, narrow=narrow) for head in order)
    # A hollow head is closed by its neighbour unless there is air between.
    pitch = width + any(head.value.is_hollow for head in order)
    head_column = {i: pitch * beside.put(h.staff, h.position, 1) for i, h in enumerate(order)}
    sign_text = {i: _sign_text(h, order, scale) for i, h in enumerate(order) if h.accidental}
    apart = max([2, *map(len, sign_text.values())])  # two signs side by side: as wide as a wide one
    sign_column = {
        i: -apart * signs.put(order[i].staff, order[i].position, 1) - len(text)
        for i, text in sign_text.items()
    }
    before = -min(sign_column.values(), default=0)
    rolled_column = None
    if rolled.staves:
        before += 1
        rolled_column = -before
    dots = max((head.value.dots for head in order), default=0)
    core = width + max(head_column.values(), default=0)
    return ChordColumns(
        tuple(order), head_column, sign_column, sign_text, rolled_column, rolled, core, before, dots
    )


def head_width(head: Head, scale: Scale, *, narrow: bool) -> int:
    """Columns of a head."""
    return 1 if head.grace or (narrow and not head.value.is_hollow) else scale.head_width


def _sign_text(head: Head, chord: Sequence[Head], scale: Scale) -> str:
    """The sign; where its row has two heads also whose: ``'`` the upper's, ``,`` the lower's."""
    if scale is not Scale.COMPACT:
        return head.accidental
    neighbour = head.position + (-1 if head.position % 2 else 1)
    shared = any(h.staff == head.staff and h.position == neighbour for h in chord)
    return head.accidental + (("'" if head.position % 2 else ",") if shared else "")


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


def break_pages(
    slots: Sequence[Slot], width: int, beats: frozenset[Fraction], bars: frozenset[Fraction]
) -> list[range]:
    """Slots by page, where they are wider than ``width``.

    A page ends at a barline (``bars``) as the systems of print do, where that takes no page more;
    else before a beat where it can. The next page begins with that page's last beat once more, so
    that it can be turned while that beat is played.
    """
    by_beat = _break_before(beats, beats, slots, width)
    by_bar = _break_before(bars, beats, slots, width)
    return by_bar if len(by_bar) <= len(by_beat) else by_beat


def _break_before(
    breaks: frozenset[Fraction], beats: frozenset[Fraction], slots: Sequence[Slot], width: int
) -> list[range]:
    out: list[range] = []
    first = 0
    while first < len(slots):
        full = stop = _fill_page(slots, first, width)
        if full < len(slots):
            stop = _find_last_break(slots, first, full, breaks)
            if stop == full:
                stop = _find_last_break(slots, first, full, beats)
        out.append(range(first, stop))
        if stop >= len(slots):
            break
        again = _find_last_break(slots, first, stop - 1, beats)
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


def gather_chords(written: Written, form: Form) -> dict[SlotKey, ChordColumns]:
    """The heads of each slot."""
    stems = (*written.stems, *written.held_stems)
    upper = {head.note: stem.up for stem in stems for head in stem.heads}
    rolled = _find_rolled(written)
    together: dict[SlotKey, list[Head]] = defaultdict(list)
    for head in (*written.heads, *list_held_in_sight(written)):
        together[slot_key(head)].append(head)
    return {
        key: arrange_chord(
            group, upper, form.scale, rolled=rolled.get(key, _UNROLLED), narrow=form.narrow
        )
        for key, group in together.items()
    }


def _find_rolled(written: Written) -> dict[SlotKey, Rolled]:
    staves: dict[SlotKey, set[int]] = defaultdict(set)
    for touch in written.touches:
        if NoteMark.ARPEGGIO in touch.marks:
            staves[touch_key(touch)].add(touch.staff)
    across = {
        slot_key(head)
        for head in written.heads
        if NoteMark.ROLLED_ACROSS in written.excerpt.notes[head.note].marks
    }
    return {key: Rolled(frozenset(here), key in across) for key, here in staves.items()}


def list_held_in_sight(written: Written) -> list[Head]:
    """The heads that are held into the window, as far as they cost no row.

    They lie inside a staff that is drawn anyway, and under no octave line; and where something is
    struck, or a beat is counted.
    """
    seen = {head.onset_quarters for head in written.heads} | written.beats
    staves = {head.staff for head in written.heads}
    moved = {head.staff for head in written.heads if head.octave_shift}
    return [
        head
        for head in written.held
        if head.staff in staves - moved
        and 0 <= head.position <= TOP_LINE
        and head.onset_quarters in seen
    ]


def slot_key(head: Head) -> SlotKey:
    """The slot in which a head stands."""
    return _key(head.onset_quarters, head.grace, after=head.after)


def touch_key(touch: Touch) -> SlotKey:
    """The slot over which a touch is written."""
    return _key(touch.onset_quarters, touch.grace, after=touch.after)


def _key(onset: Fraction, grace: int, *, after: bool) -> SlotKey:
    if not grace:
        return onset, SlotKind.NOTE, 0
    return onset, SlotKind.AFTER if after else SlotKind.GRACE, -grace


def list_note_keys(written: Written, chords: Mapping[SlotKey, ChordColumns]) -> set[SlotKey]:
    """The slots with heads, a rest, or only a beat that is counted."""
    rests = (*written.rests, *written.inner_rests)
    onsets = {rest.onset_quarters for rest in rests} | written.beats
    return set(chords) | {(onset, SlotKind.NOTE, 0) for onset in onsets}


def gather_slots(
    written: Written,
    chords: Mapping[SlotKey, ChordColumns],
    texts: Mapping[SlotKey, Mapping[int, SlotTexts]],
    form: Form,
) -> tuple[Slot, ...]:
    """Every slot of the window, in order."""
    alone = {group.stems[0].onset_quarters for group in written.beams if len(group.stems) == 1}
    alone |= {
        tuplet.stems[len(tuplet.stems) // 2].onset_quarters
        for tuplet in written.tuplets
        if not tuplet.is_beamed
    }
    out = []
    for key in list_note_keys(written, chords):
        chord = chords.get(key)
        core = chord.core if chord else 1
        after = max(chord.dots if chord else 0, 1 if key[0] in alone else 0)
        counted = key[1] is SlotKind.NOTE and (key[0] in written.beats or not form.narrow)
        text = len(written.counts.get(key[0], "")) if counted else 0
        for on_staff in texts.get(key, {}).values():
            text = max(text, _texts_width(on_staff, form))
        after = max(after, text - core)
        onset, kind, order = key
        out.append(Slot(onset, kind, order, chord.before if chord else 0, core, after))
    return add_times([*out, *_list_bar_slots(written), *_list_clef_slots(written)])


def _texts_width(texts: SlotTexts, form: Form) -> int:
    """Columns of the widest lane; a mark that stands beside print takes one more."""
    widest = 0
    for group in form.lanes.groups:
        placed, end = place_texts(group, texts)
        if placed and not (form.stacked_fingers and group[0] in _FINGERS):
            _, at, text = placed[-1]
            widest = max(widest, end + 1 if TextKind.MARK in group else at + len(text.text))
    return widest


_FINGERS = frozenset({TextKind.FINGERS_RIGHT, TextKind.FINGERS_LEFT})


def _list_bar_slots(written: Written) -> list[Slot]:
    """A barline before each bar that begins inside the window, with what changes there."""
    bars = written.score.bars
    out = []
    for before, bar in pairwise(bars):
        if written.start_quarters < bar.onset_quarters <= written.last_quarters:
            extra = 1 + abs(bar.key_fifths) if bar.key_fifths != before.key_fifths else 0
            if bar.metre != before.metre:
                extra += 1 + max(len(part) for part in str(bar.metre).split("/"))
            wide = barline_width(written.score, before, bar) + int(before.repeat_end)
            out.append(Slot(bar.onset_quarters, SlotKind.BAR, before=wide - 1, after=extra))
    return out


def barline_width(score: Score, before: Bar, bar: Bar | None = None) -> int:
    """Columns of what stands between two bars, without dots."""
    return len(find_barline(UNICODE, score, before, bar)[0])


def find_barline(glyphs: Glyphs, score: Score, before: Bar | None, bar: Bar | None) -> Look:
    """What stands between two bars, or at the end or the beginning of all."""
    ends, begins = before is not None and before.repeat_end, bar is not None and bar.repeat_start
    if ends or begins:
        return glyphs.repeats[2 if ends and begins else int(ends)]
    return glyphs.barlines[score.barline_after(before) if before else Barline.SINGLE]


def _list_clef_slots(written: Written) -> list[Slot]:
    """A place for each clef that changes inside the window."""
    onsets = {
        clef.onset_quarters
        for staff in {head.staff for head in written.heads}
        for clef in clef_changes(
            written.score, staff, written.start_quarters, written.last_quarters
        )
    }
    return [Slot(onset, SlotKind.CLEF, core=CLEF_WIDTH) for onset in onsets]
