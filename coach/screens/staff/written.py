"""Accidentals: which notes carry a sign, by the key signature and what the bar has had.

An accidental holds for its line or space, on its staff, to the end of the bar (common practice).
In a window that begins inside a bar, what stood before it is out of sight: a sign is shown where
the page has one and also where the reader of the window alone would need one.

What an excerpt looks like on paper: heads, pieces of tied notes, stems, rests.

Still without columns or rows: only what is written where in time and on which position of which
staff. Positions count steps from the bottom line of the staff (see :mod:`.clefs`).

Far ledger lines folded away: groups of notes written an octave nearer, under an octave line.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from coach.score.model import Grace, Hand, Score, ScoreNote
from coach.score.window import Excerpt
from coach.screens.staff.clefs import bottom_step, clef_at, key_alters
from coach.screens.staff.values import Value, pieces

SIGNS = {-2: "bb", -1: "b", 0: "n", 1: "#", 2: "x"}
"""The signs as they are shown; the musical ones are in few fonts."""

Memory = dict[tuple[int, str, int], int]
"""Staff, letter and written octave to the alteration now in force."""


def accidentals(score: Score, notes: Sequence[ScoreNote]) -> tuple[str, ...]:
    """The sign of each of ``notes`` (an excerpt's notes, in order): "" where none is needed."""
    if not notes:
        return ()
    on_page = _page_signs(score, notes)
    seen: Memory = {}
    bar_index = -1
    out = []
    for note in notes:
        if note.bar_index != bar_index:
            bar_index, seen = note.bar_index, {}
        needed = _needs(score, note, seen)
        out.append(SIGNS.get(note.spelling.alter, "") if needed or note.id in on_page else "")
    return tuple(out)


def _page_signs(score: Score, notes: Sequence[ScoreNote]) -> set[str]:
    """Ids of the notes that carry a sign on the page, where all of the bar is in sight."""
    first, last = score.bars[notes[0].bar_index], score.bars[notes[-1].bar_index]
    signed: set[str] = set()
    memory: Memory = {}
    bar_index = -1
    for note in score.notes_between(first.onset_quarters, last.end_quarters):
        if note.bar_index != bar_index:
            bar_index, memory = note.bar_index, {}
        if _needs(score, note, memory):
            signed.add(note.id)
    return signed


def _needs(score: Score, note: ScoreNote, memory: Memory) -> bool:
    """Whether this note needs a sign after what ``memory`` holds; remembers it."""
    spelling = note.spelling
    place = (note.staff, spelling.step, spelling.octave + note.octave_shift)
    key = key_alters(score.bars[note.bar_index].key_fifths)
    in_force = memory.get(place, key.get(spelling.step, 0))
    memory[place] = spelling.alter
    return in_force != spelling.alter


@dataclass(frozen=True, slots=True)
class Head:
    """One notehead: a note, or one of the pieces that ties join."""

    note: int
    """Index into ``excerpt.notes``."""
    staff: int
    hand: Hand
    voice: str
    onset_quarters: Fraction
    length_quarters: Fraction
    step: int
    """7 x octave + letter, as written (an 8va line taken into account)."""
    position: int
    """Steps above the bottom line of its staff."""
    value: Value
    accidental: str = ""
    fingering: tuple[str, ...] = ()
    tied_on: bool = False
    """A tie leads from here to the next piece."""
    first: bool = True
    """The piece that is struck."""
    grace: int = 0
    """0, or the place in a row of small notes, counted back from its end: 1 is the last."""
    after: bool = False
    """A small note that is played after its main note."""
    octave_shift: int = 0


@dataclass(frozen=True, slots=True)
class Stem:
    """The heads of one voice at one onset, on one stem (or none, for whole notes)."""

    staff: int
    voice: str
    up: bool
    onset_quarters: Fraction
    end_quarters: Fraction
    value: Value
    heads: tuple[Head, ...]

    @property
    def lowest(self) -> int:
        """The lowest head's position."""
        return min(head.position for head in self.heads)

    @property
    def highest(self) -> int:
        """The highest head's position."""
        return max(head.position for head in self.heads)


def last_quarters(excerpt: Excerpt) -> Fraction:
    """The onset of the last thing to be drawn: the landing, or the last note before the end."""
    return max(note.onset_quarters for note in excerpt.notes)


def heads(score: Score, excerpt: Excerpt) -> tuple[Head, ...]:
    """Every head of the excerpt, in the order of onset, small notes before their main note."""
    signs = accidentals(score, excerpt.notes)
    last, end = last_quarters(excerpt), excerpt.window.end_quarters
    graces = _grace_places(excerpt.notes)
    out: list[Head] = []
    for index, note in enumerate(excerpt.notes):
        out += _pieces_of(score, index, note, signs[index], graces.get(index, 0), last, end)
    return tuple(sorted(out, key=lambda h: (h.onset_quarters, -h.grace, h.position)))


def _grace_places(notes: tuple[ScoreNote, ...]) -> dict[int, int]:
    """For each small note its place before the main note: 1 is the nearest."""
    rows: dict[tuple[Fraction, int, str, Grace], list[int]] = defaultdict(list)
    for index, note in enumerate(notes):
        if note.grace:
            rows[note.onset_quarters, note.staff, note.voice, note.grace].append(index)
    return {index: len(row) - place for row in rows.values() for place, index in enumerate(row)}


def _pieces_of(
    score: Score,
    index: int,
    note: ScoreNote,
    sign: str,
    grace: int,
    last: Fraction,
    end: Fraction,
) -> Iterator[Head]:
    written = _written_lengths(score, note)
    onset = note.onset_quarters
    for number, (length, value) in enumerate(written):
        clef = clef_at(score, note.staff, onset)
        step = note.spelling.diatonic + 7 * note.octave_shift
        yield Head(
            note=index,
            staff=note.staff,
            hand=note.hand,
            voice=note.voice,
            onset_quarters=onset,
            length_quarters=length,
            step=step,
            position=step - bottom_step(clef),
            value=value,
            accidental=sign if number == 0 else "",
            fingering=note.fingering if number == 0 else (),
            tied_on=number + 1 < len(written),
            first=number == 0,
            grace=grace,
            after=note.grace is Grace.AFTER,
            octave_shift=note.octave_shift,
        )
        onset += length
        if onset > last and onset >= end:  # out of sight; only its tie is seen to lead on
            return


def _written_lengths(score: Score, note: ScoreNote) -> list[tuple[Fraction, Value]]:
    """The tied pieces of a note: the file's own, or cut at barlines and into plain values."""
    if note.grace or note.length_quarters <= 0:
        return [(Fraction(0), Value(Fraction(1, 2)))]
    given = note.segments_quarters or tuple(_cut_at_barlines(score, note))
    return [piece for length in given for piece in pieces(length)]


def _cut_at_barlines(score: Score, note: ScoreNote) -> Iterator[Fraction]:
    onset = note.onset_quarters
    bar_index = note.bar_index
    while onset < note.end_quarters:
        bar = score.bars[min(bar_index, len(score.bars) - 1)]
        last = bar_index >= len(score.bars) - 1 or bar.end_quarters <= onset
        end = note.end_quarters if last else min(bar.end_quarters, note.end_quarters)
        yield end - onset
        onset, bar_index = end, bar_index + 1


def stems(all_heads: tuple[Head, ...]) -> tuple[Stem, ...]:
    """Heads gathered onto stems; small notes have none."""
    together: dict[tuple[Fraction, int, str], list[Head]] = defaultdict(list)
    for head in all_heads:
        if not head.grace:
            together[head.onset_quarters, head.staff, head.voice].append(head)
    upper = _upper_voices(all_heads)
    out = []
    for (onset, staff, voice), group in sorted(together.items()):
        shortest = min(group, key=lambda head: head.length_quarters)
        end = onset + shortest.length_quarters
        up = voice in upper[staff]
        out.append(Stem(staff, voice, up, onset, end, shortest.value, tuple(group)))
    return tuple(out)


def _upper_voices(all_heads: tuple[Head, ...]) -> dict[int, set[str]]:
    """For each staff the voices whose stems go up: the highest one, or the only one."""
    positions: dict[int, dict[str, list[int]]] = defaultdict(lambda: defaultdict(list))
    for head in all_heads:
        positions[head.staff][head.voice].append(head.position)
    upper: dict[int, set[str]] = {}
    for staff, voices in positions.items():
        order = sorted(voices, key=lambda v: -sum(voices[v]) / len(voices[v]))
        upper[staff] = set(order[:1])
    return upper


_FAR_ABOVE, _FAR_BELOW = 12, -4
"""Positions beyond the second ledger line."""


def folded(all_heads: tuple[Head, ...]) -> tuple[Head, ...]:
    """The same heads, with those on far ledger lines written an octave nearer.

    All heads of a staff at one onset move together, so that the octave line over them is true of
    each; not where that would push others off the other side, nor across a tie.
    """
    groups: dict[tuple[Fraction, int], list[Head]] = defaultdict(list)
    for head in all_heads:
        groups[head.onset_quarters, head.staff].append(head)
    octaves = {key: _nearer(group) for key, group in groups.items()}
    return tuple(_moved(head, octaves[head.onset_quarters, head.staff]) for head in all_heads)


def _nearer(group: list[Head]) -> int:
    """By how many octaves to move a group: 0, or 1 towards its staff."""
    low = min(head.position for head in group)
    high = max(head.position for head in group)
    if any(head.tied_on or not head.first for head in group):
        return 0
    if high > _FAR_ABOVE and low - 7 >= _FAR_BELOW:
        return -1
    return 1 if low < _FAR_BELOW and high + 7 <= _FAR_ABOVE else 0


def _moved(head: Head, octaves: int) -> Head:
    if not octaves:
        return head
    return replace(
        head,
        step=head.step + 7 * octaves,
        position=head.position + 7 * octaves,
        octave_shift=head.octave_shift + octaves,
    )
