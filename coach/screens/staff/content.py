"""What is to be drawn of a window: everything written, gathered by onset into slots."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from coach.score.model import Bar, Score
from coach.score.window import Excerpt
from coach.screens.staff.beams import BeamGroup, beam_groups
from coach.screens.staff.clefs import clef_changes
from coach.screens.staff.columns import Chord, Slot, SlotKind, chord_of, timed
from coach.screens.staff.rests import Rest, rests
from coach.screens.staff.rows import Form
from coach.screens.staff.written import Head, Stem, folded, heads, stems

Counts = Callable[[Score, Sequence[Fraction]], Sequence[str]]
"""Gives what is counted aloud at each of some onsets."""


@dataclass(frozen=True)
class Written:
    """All that is to be drawn, before it has columns and rows."""

    score: Score
    excerpt: Excerpt
    heads: tuple[Head, ...]
    stems: tuple[Stem, ...]
    beams: tuple[BeamGroup, ...]
    rests: tuple[Rest, ...]
    counts: Mapping[Fraction, str]
    beats: frozenset[Fraction]
    last_quarters: Fraction
    """The last onset that is drawn."""

    @property
    def start_quarters(self) -> Fraction:
        """Where the drawing begins."""
        return self.excerpt.window.start_quarters

    @property
    def bars(self) -> tuple[Bar, ...]:
        """The bars that are in sight, whole or in part."""
        first = self.score.bar_at(self.start_quarters).index
        last = self.score.bar_at(self.last_quarters).index
        return self.score.bars[first : last + 1]

    @property
    def starts_cut(self) -> bool:
        """Whether the window begins inside a bar."""
        return self.bars[0].onset_quarters < self.start_quarters

    @property
    def ends_cut(self) -> bool:
        """Whether the bar goes on after the last thing drawn."""
        bar = self.bars[-1]
        after = self.last_quarters + Fraction(1, 1 << 30)
        goes_on = self.score.notes_between(after, bar.end_quarters, self.excerpt.window.hands)
        if self.excerpt.window.end_quarters >= bar.end_quarters:
            return False
        sounding = max(head.onset_quarters + head.length_quarters for head in self.heads)
        return bool(goes_on) or sounding < bar.end_quarters


def write(score: Score, excerpt: Excerpt, counts: Counts, *, fold: bool = False) -> Written:
    """What is written in a window, without columns or rows.

    ``fold``: write what lies on far ledger lines an octave nearer, under an octave line.
    """
    all_heads = heads(score, excerpt)
    all_heads = folded(all_heads) if fold else all_heads
    all_stems = stems(all_heads)
    all_rests = rests(score, excerpt, all_heads)
    end = excerpt.window.end_quarters
    last = max(head.onset_quarters for head in all_heads)
    beats = frozenset(
        beat
        for bar in score.bars
        for beat in bar.beats_quarters()
        if excerpt.window.start_quarters <= beat and (beat <= last or beat < end)
    )
    last = max([last, *beats, *(rest.onset_quarters for rest in all_rests)])
    onsets = sorted({head.onset_quarters for head in all_heads} | beats)
    return Written(
        score=score,
        excerpt=excerpt,
        heads=all_heads,
        stems=all_stems,
        beams=beam_groups(score, all_stems),
        rests=all_rests,
        counts=dict(zip(onsets, counts(score, onsets), strict=True)),
        beats=beats,
        last_quarters=last,
    )


SlotKey = tuple[Fraction, SlotKind, int]
"""Onset, kind and order: what tells one slot from another."""


def chords_of(written: Written) -> dict[SlotKey, Chord]:
    """The heads of each slot."""
    upper = {head.note: stem.up for stem in written.stems for head in stem.heads}
    together: dict[SlotKey, list[Head]] = defaultdict(list)
    for head in written.heads:
        together[slot_key(head)].append(head)
    return {key: chord_of(group, upper) for key, group in together.items()}


def slot_key(head: Head) -> SlotKey:
    """The slot in which a head stands."""
    if not head.grace:
        return head.onset_quarters, SlotKind.NOTE, 0
    kind = SlotKind.AFTER if head.after else SlotKind.GRACE
    return head.onset_quarters, kind, -head.grace


def slots_of(written: Written, chords: Mapping[SlotKey, Chord], form: Form) -> tuple[Slot, ...]:
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
    return timed([*out, *_bar_slots(written), *_clef_slots(written)])


def _fingers_width(chord: Chord) -> int:
    widths: dict[object, int] = defaultdict(int)
    for head in chord.heads:
        widths[head.staff, head.hand] += len("-".join(head.fingering))
    return max(widths.values(), default=0)


def _bar_slots(written: Written) -> list[Slot]:
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


def _clef_slots(written: Written) -> list[Slot]:
    """A place for each clef that changes inside the window."""
    onsets = {
        clef.onset_quarters
        for staff in {head.staff for head in written.heads}
        for clef in clef_changes(
            written.score, staff, written.start_quarters, written.last_quarters
        )
    }
    return [Slot(onset, SlotKind.CLEF) for onset in onsets]
