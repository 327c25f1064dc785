"""A window as it is written, without columns and rows yet: the slow half of a layout, done once."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from functools import cached_property

from coach.screens.staff.beams import BeamGroup
from coach.screens.staff.lanes import Form, StaffRows, system_rows
from coach.screens.staff.plan import SlotKey, Written, chords_of, slots_of
from coach.screens.staff.slots import Chord, Slot
from coach.screens.staff.spread import Ground
from coach.screens.staff.written import Stem


class Draft:
    """What is written, gathered by onset, for the whole window and for single pages of it."""

    def __init__(self, written: Written) -> None:
        self.written = written
        self._slots: dict[bool, tuple[Slot, ...]] = {}

    @cached_property
    def chords(self) -> dict[SlotKey, Chord]:
        """The heads of each slot."""
        return chords_of(self.written)

    def slots(self, form: Form) -> tuple[Slot, ...]:
        """Every slot; forms differ only in whether a chord's fingers stand side by side."""
        side_by_side = not form.stacked_fingers
        if side_by_side not in self._slots:
            self._slots[side_by_side] = slots_of(self.written, self.chords, form)
        return self._slots[side_by_side]

    def rows(
        self, form: Form, page: Sequence[Slot] | None = None
    ) -> tuple[tuple[StaffRows, ...], int]:
        """The lanes of every staff and the number of rows, for all pages or for one."""
        written = self.written
        staves = {head.staff for head in written.heads}
        if page is None:
            return system_rows(written.heads, written.stems, form, staves)
        chords = [self.chords[slot.key] for slot in page if slot.key in self.chords]
        heads = [head for chord in chords for head in chord.heads]
        return system_rows(heads, self._stems_on(page), form, staves)

    def on_page(self, ground: Ground, page: Sequence[Slot]) -> Ground:
        """The same ground with no other stems and beams than those of one page: drawn sooner."""
        stems = self._stems_on(page)
        beams = {id(group): group for stem in stems for group in self._beams_of.get(id(stem), ())}
        written = replace(ground.written, stems=tuple(stems), beams=tuple(beams.values()))
        return replace(ground, written=written)

    def _stems_on(self, page: Sequence[Slot]) -> list[Stem]:
        onsets = dict.fromkeys(slot.onset_quarters for slot in page)
        return [stem for onset in onsets for stem in self._stems_at.get(onset, ())]

    @cached_property
    def _stems_at(self) -> dict[Fraction, list[Stem]]:
        out: dict[Fraction, list[Stem]] = defaultdict(list)
        for stem in self.written.stems:
            out[stem.onset_quarters].append(stem)
        return out

    @cached_property
    def _beams_of(self) -> dict[int, list[BeamGroup]]:
        out: dict[int, list[BeamGroup]] = defaultdict(list)
        for group in self.written.beams:
            for stem in group.stems:
                out[id(stem)].append(group)
        return out
