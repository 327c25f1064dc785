"""What a window looks like on paper: heads, accidentals, stems, beams, rests, clefs, marks.

Still without columns or rows: only what is written, where in time, and on which position of which
staff. Steps are ``7 x octave + letter`` (:attr:`coach.score.pitch.Spelling.diatonic`): the bottom
line of a treble staff is E4 = 30, of a bass staff G2 = 18. A *position* counts steps from the
bottom line of the staff: 0 is the bottom line, 8 the top line. Lengths are exact quarters, their
names and dots common practice: each dot adds half of what stands before it; a triplet writes three
in the time of two.

An accidental holds for its line or space, on its staff, to the end of the bar (common practice).
In a window that begins inside a bar, what stood before it is out of sight: a sign is shown where
the page has one, as a reminder too, and also where the reader of the window alone would need one.

Beams are the file's. Where it has none notes are beamed by beat (common practice): a beam joins the
flagged notes of one voice that follow each other without a rest inside one beat. Metres that are
counted undivided (5/8, 7/8) are beamed by their printed groups, or in twos with the three at the
end of 5 and 7.

Rests are shown as they are printed, also of one voice beside another. Where a file has none, or a
window cuts them, the silence of a whole staff is shown as rests cut at beats, easy to count.

A mark of touch or an ornament belongs to a voice at an onset, so the notes of a chord share it. A
fermata, and the end of a slur, stand at the last piece of a tied note, all else at its first
(common practice).
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache

from coach.score.forms import WrittenForm
from coach.score.metre import Metre
from coach.score.model import (
    INSTANT_QUARTERS,
    Bar,
    Clef,
    Direction,
    Grace,
    Hand,
    LineKind,
    NoteMark,
    PrintedLine,
    PrintedRest,
    Score,
    ScoreNote,
)
from coach.score.window import Excerpt

# Clefs and key signatures: which step lies on which line.

_SIGN_STEPS = {"G": 32, "F": 24, "C": 28}
"""The step that each clef's sign names: G4, F3, C4."""

_SHARP_POSITIONS = (8, 5, 9, 6, 3, 7, 4)
"""Where the sharps F C G D A E B stand on a treble staff."""
_FLAT_POSITIONS = (4, 7, 3, 6, 2, 5, 1)
"""Where the flats B E A D G C F stand on a treble staff."""
_TREBLE_BOTTOM = 30
"""The step of E4, on the treble staff's lowest line."""


def bottom_step(clef: Clef) -> int:
    """The step on the staff's bottom line under this clef: treble 30 (E4), bass 18 (G2)."""
    sign = _SIGN_STEPS.get(clef.sign, _SIGN_STEPS["G"])
    return sign - 2 * (clef.line - 1) + 7 * clef.octave


def clef_at(score: Score, staff: int, onset_quarters: Fraction) -> Clef:
    """The clef in force on a staff; treble above and bass below where the file names none."""
    found = None
    for clef in score.clefs:
        if clef.staff == staff and (clef.onset_quarters <= onset_quarters or found is None):
            found = clef
    if found:
        return found
    return Clef(staff, Fraction(0), "G", 2) if staff == 1 else Clef(staff, Fraction(0), "F", 4)


def clef_changes(
    score: Score, staff: int, after_quarters: Fraction, until_quarters: Fraction
) -> tuple[Clef, ...]:
    """Clefs that begin on a staff after one onset and up to another."""
    changes = []
    for clef in score.clefs:
        if clef.staff == staff and after_quarters < clef.onset_quarters <= until_quarters:
            before = clef_at(score, staff, clef.onset_quarters - Fraction(1, 1 << 20))
            if (before.sign, before.line, before.octave) != (clef.sign, clef.line, clef.octave):
                changes.append(clef)
    return tuple(changes)


def key_alters(fifths: int) -> dict[str, int]:
    """What a key signature does to each letter it names: 2 sharps is {"F": 1, "C": 1}."""
    count, alter = min(abs(fifths), 7), 1 if fifths > 0 else -1
    order = ["F", "C", "G", "D", "A", "E", "B"]
    letters = order[:count] if fifths > 0 else order[::-1][:count]
    return dict.fromkeys(letters, alter)


def key_positions(fifths: int, clef: Clef) -> tuple[int, ...]:
    """The positions of a key signature's signs on a staff with this clef, left to right."""
    treble = _SHARP_POSITIONS if fifths > 0 else _FLAT_POSITIONS
    # A clef moves all signs alike; of the two places an octave apart take the one in the staff.
    shift = (_TREBLE_BOTTOM - bottom_step(clef)) % 7
    shift = shift - 7 if shift > 2 else shift
    return tuple(position + shift for position in treble[: min(abs(fifths), 7)])


# Note values: how a length is written (head, dots, flags, tuplet).

_BASES = tuple(Fraction(2) ** power for power in range(4, -7, -1))
"""Written values in quarters, from a double breve (16) to a 256th (1/64)."""

_TUPLETS = ((3, 2), (5, 4), (7, 4), (4, 3), (9, 8), (11, 8), (13, 8), (7, 6), (7, 8))
"""So many in the time of so many, the commonest first."""


@dataclass(frozen=True, slots=True)
class Value:
    """A written note value."""

    base_quarters: Fraction
    """The undotted value: 1 for a quarter, 1/2 for an eighth."""
    dots: int = 0
    tuplet: tuple[int, int] | None = None
    """(3, 2) for a triplet: three in the time of two."""

    @property
    def is_hollow(self) -> bool:
        """Half notes and longer."""
        return self.base_quarters >= 2

    @property
    def has_stem(self) -> bool:
        """All but whole notes and longer."""
        return self.base_quarters < 4

    @property
    def flags(self) -> int:
        """Flags or beams: an eighth has 1, a sixteenth 2."""
        count, value = 0, self.base_quarters
        while value < 1:
            count, value = count + 1, value * 2
        return count


def _find_plain(length: Fraction, most_dots: int) -> tuple[Fraction, int] | None:
    for base in _BASES:
        for dots in range(most_dots + 1):
            if length == base * (2 - Fraction(1, 2**dots)):
                return base, dots
    return None


@lru_cache(maxsize=4096)
def value_of(length_quarters: Fraction) -> Value | None:
    """The one written value of a length, or None where it takes several tied together."""
    plain = _find_plain(length_quarters, 2)
    if plain:
        return Value(*plain)
    for actual, normal in _TUPLETS:
        plain = _find_plain(length_quarters * Fraction(actual, normal), 1)
        if plain:
            return Value(*plain, (actual, normal))
    return None


@lru_cache(maxsize=4096)
def split_length(length_quarters: Fraction) -> tuple[tuple[Fraction, Value], ...]:
    """A length as written values to be tied, the longest first.

    A length that no sum of values down to a 256th makes (an unquantised file) is written with
    the nearest value below it.
    """
    out: list[tuple[Fraction, Value]] = []
    rest = length_quarters
    while rest > 0:
        value = value_of(rest)
        if value:
            return (*out, (rest, value))
        base = next((base for base in _BASES if base <= rest), None)
        if base is None or len(out) == 4:
            break
        out.append((base, Value(base)))
        rest -= base
    return tuple(out) or ((length_quarters, Value(_BASES[-1])),)


# Heads with their accidentals, stems, beams and rests.

SIGNS = {-2: "bb", -1: "b", 0: "n", 1: "#", 2: "x"}
"""The signs as they are shown; the musical ones are in few fonts."""

SignMemory = dict[tuple[int, str, int], int]
"""Staff, letter and written octave to the alteration now in force."""


def choose_accidentals(score: Score, notes: Sequence[ScoreNote]) -> tuple[str, ...]:
    """The sign of each of ``notes`` (an excerpt's notes, in order): "" where none is needed."""
    if not notes:
        return ()
    on_page = _page_signs(score, notes)
    memory: SignMemory = {}
    bar_index = -1
    out = []
    for note in notes:
        if note.bar_index != bar_index:
            bar_index, memory = note.bar_index, {}
        is_needed = _needs_sign(score, note, memory)
        is_shown = is_needed or note.has_printed_sign or note.id in on_page
        out.append(SIGNS.get(note.spelling.alter, "") if is_shown else "")
    return tuple(out)


def _page_signs(score: Score, notes: Sequence[ScoreNote]) -> set[str]:
    """Ids of the notes that carry a sign on the page, where all of the bar is in sight."""
    first, last = score.bars[notes[0].bar_index], score.bars[notes[-1].bar_index]
    signed: set[str] = set()
    memory: SignMemory = {}
    bar_index = -1
    for note in score.notes_between(first.onset_quarters, last.end_quarters):
        if note.bar_index != bar_index:
            bar_index, memory = note.bar_index, {}
        if _needs_sign(score, note, memory):
            signed.add(note.id)
    return signed


def _needs_sign(score: Score, note: ScoreNote, memory: SignMemory) -> bool:
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
    fingering_is_suggested: bool = False
    """Nobody wrote it: it is one possibility, and shown as such."""
    tied_on: bool = False
    """A tie leads from here to the next piece."""
    first: bool = True
    """The piece that is struck."""
    beams_to_next: int | None = None
    """So many beams lead on from its stem, as printed; None where nobody says."""
    grace: int = 0
    """0, or the place in a row of small notes, counted back from its end: 1 is the last."""
    after: bool = False
    """A small note that is played after its main note."""
    octave_shift: int = 0

    @property
    def fingering_words(self) -> str:
        """``3``; ``4-5`` for a change of finger; ``3?`` where it is only suggested."""
        return "-".join(self.fingering) + SUGGESTED * self.fingering_is_suggested


SUGGESTED = "?"
"""Stands behind a finger that nobody wrote."""


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
    beams_to_next: int | None = None
    """So many beams lead on to the next stem, as printed; None where nobody says."""

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


def list_heads(
    score: Score, excerpt: Excerpt, fingers: Mapping[str, str] | None = None
) -> tuple[Head, ...]:
    """Every head of the excerpt, in the order of onset, small notes before their main note.

    ``fingers``: by a note's id the finger that is suggested where none is printed.
    """
    signs = choose_accidentals(score, excerpt.notes)
    last, end = last_quarters(excerpt), excerpt.window.end_quarters
    graces = _grace_places(excerpt.notes)
    out: list[Head] = []
    for index, note in enumerate(excerpt.notes):
        suggested = fingers.get(note.id) if fingers and not note.fingering else None
        shown = replace(note, fingering=(suggested,)) if suggested else note
        pieces = _pieces_of(score, index, shown, signs[index], graces.get(index, 0), last, end)
        if suggested:
            pieces = (replace(one, fingering_is_suggested=one.first) for one in pieces)
        out += pieces
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
    beams = _beams_of_pieces(note, written)
    onset = note.onset_quarters
    for number, piece in enumerate(written):
        yield replace(
            _make_head(score, index, note, onset, piece),
            accidental=sign if number == 0 else "",
            fingering=note.fingering if number == 0 else (),
            tied_on=number + 1 < len(written),
            first=number == 0,
            beams_to_next=beams[number],
            grace=grace,
            after=note.grace is Grace.AFTER,
        )
        onset += piece[0]
        if onset > last and onset >= end:  # out of sight; only its tie is seen to lead on
            return


def _make_head(
    score: Score, number: int, note: ScoreNote, onset: Fraction, piece: tuple[Fraction, Value]
) -> Head:
    """One of a note's tied pieces, as a length and its value, from an onset on."""
    length, value = piece
    step = note.spelling.diatonic + 7 * note.octave_shift
    return Head(
        note=number,
        staff=note.staff,
        hand=note.hand,
        voice=note.voice,
        onset_quarters=onset,
        length_quarters=length,
        step=step,
        position=step - bottom_step(clef_at(score, note.staff, onset)),
        value=value,
        octave_shift=note.octave_shift,
    )


_SMALL_VALUE = Value(Fraction(1, 2))
"""Of a small note of which nobody says another. Common practice: an eighth."""


def _written_lengths(score: Score, note: ScoreNote) -> list[tuple[Fraction, Value]]:
    """The tied pieces of a note: the file's own, or cut at barlines and into plain values."""
    if note.grace or note.length_quarters <= 0:
        return [(Fraction(0), value_of(note.grace_quarters) or _SMALL_VALUE)]
    given = note.segments_quarters or tuple(_cut_at_barlines(score, note))
    return [piece for length in given for piece in split_length(length)]


def _beams_of_pieces(
    note: ScoreNote, written: Sequence[tuple[Fraction, Value]]
) -> Sequence[int | None]:
    """The file's beams for each piece; none where the pieces are not the file's."""
    is_as_printed = len(note.beams_to_next) == len(written) and not note.grace
    return note.beams_to_next if is_as_printed else [None] * len(written)


def _cut_at_barlines(score: Score, note: ScoreNote) -> Iterator[Fraction]:
    onset = note.onset_quarters
    bar_index = note.bar_index
    while onset < note.end_quarters:
        bar = score.bars[min(bar_index, len(score.bars) - 1)]
        last = bar_index >= len(score.bars) - 1 or bar.end_quarters <= onset
        end = note.end_quarters if last else min(bar.end_quarters, note.end_quarters)
        yield end - onset
        onset, bar_index = end, bar_index + 1


HELD_BARS = 8
"""A note that was struck longer ago is not looked for. Own choice: no piano sounds so long."""


def list_held(score: Score, excerpt: Excerpt) -> tuple[tuple[ScoreNote, ...], tuple[Head, ...]]:
    """What was struck before the window and is held into it, and its heads from there on.

    The first of them is tied from before. They count on from the excerpt's notes.
    """
    window = excerpt.window
    if window.form is not WrittenForm.AS_WRITTEN:
        return (), ()
    start = window.start_quarters
    earliest = score.bars[max(score.bar_at(start).index - HELD_BARS, 0)].onset_quarters
    notes = tuple(
        note
        for note in score.notes_between(earliest, start, window.hands)
        if note.end_quarters > start and not note.octave_shift and not note.is_free
    )
    heads = [
        head
        for number, note in enumerate(notes, start=len(excerpt.notes))
        for head in _held_pieces(score, number, note, start, window.end_quarters)
    ]
    return notes, tuple(heads)


def _held_pieces(
    score: Score, number: int, note: ScoreNote, start: Fraction, end: Fraction
) -> Iterator[Head]:
    at = note.onset_quarters
    for length, _ in _written_lengths(score, note):
        begin, is_in_sight, at = max(at, start), at < end, at + length
        for piece in split_length(at - begin) if begin < at and is_in_sight else ():
            head = _make_head(score, number, note, begin, piece)
            begin += piece[0]
            yield replace(head, first=False, tied_on=begin < note.end_quarters)


def stems_of_held(heads: tuple[Head, ...], held: tuple[Head, ...]) -> tuple[Stem, ...]:
    """The stems of what is held into a window; what is struck with it has its own."""
    ids = {id(head) for head in held}
    every = join_stems((*heads, *held)) if held else ()
    return tuple(stem for stem in every if all(id(head) in ids for head in stem.heads))


def join_stems(heads: tuple[Head, ...]) -> tuple[Stem, ...]:
    """Heads gathered onto stems; small notes have none."""
    together: dict[tuple[Fraction, int, str], list[Head]] = defaultdict(list)
    for head in heads:
        if not head.grace:
            together[head.onset_quarters, head.staff, head.voice].append(head)
    upper = _upper_voices(heads)
    out = []
    for (onset, staff, voice), group in sorted(together.items()):
        shortest = min(group, key=lambda head: head.length_quarters)
        end = onset + shortest.length_quarters
        up = voice in upper[staff]
        beams = shortest.beams_to_next
        out.append(Stem(staff, voice, up, onset, end, shortest.value, tuple(group), beams))
    return tuple(out)


def _upper_voices(heads: tuple[Head, ...]) -> dict[int, set[str]]:
    """For each staff the voices whose stems go up: the upper one, or the only one.

    The upper one is higher where two are struck together, by and large; else files number voices
    from above (common practice).
    """
    positions: dict[int, dict[str, dict[Fraction, list[int]]]] = defaultdict(
        lambda: defaultdict(lambda: defaultdict(list))
    )
    for head in heads:
        if not head.grace:
            positions[head.staff][head.voice][head.onset_quarters].append(head.position)
    upper: dict[int, set[str]] = {}
    for staff, voices in positions.items():
        order = sorted(voices, key=lambda voice: (-_height_among(voice, voices), voice))
        upper[staff] = set(order[:1])
    return upper


def _height_among(voice: str, voices: Mapping[str, Mapping[Fraction, list[int]]]) -> int:
    """How far a voice is over the others, summed over the onsets that it shares with any."""
    return sum(
        max(own) + min(own) - max(others[onset]) - min(others[onset])
        for other, others in voices.items()
        if other != voice
        for onset, own in voices[voice].items()
        if onset in others
    )


FOLDS = (None, (12, -4), (11, -2), (9, 0))
"""Positions beyond which notes are written an octave nearer, from nowhere to no ledger line."""


def fold_far_ledger_lines(
    score: Score, heads: tuple[Head, ...], limits: tuple[int, int]
) -> tuple[Head, ...]:
    """The same heads, with those beyond ``limits`` (above, below) written octaves nearer.

    All heads of a staff that a beam or a tie joins move together, so that the octave line over
    them is true of each; not where that would push others off the other side as far. Where nothing
    may lie outside the staff, a voice's onsets move by themselves: no other way is left.
    """
    last_resort = limits == FOLDS[-1]
    groups = _JoinedOnsets()

    def place(one: Head | Stem, onset: Fraction) -> _Place:
        return one.staff, one.voice if last_resort else "", onset

    for head in heads:
        groups.join(place(head, head.onset_quarters))
        if head.tied_on:
            following = head.onset_quarters + head.length_quarters
            groups.join(place(head, head.onset_quarters), place(head, following))
    for beam in group_beams(score, join_stems(heads)) if not last_resort else ():
        groups.join(*(place(stem, stem.onset_quarters) for stem in beam.stems))
    together: dict[_Place, list[Head]] = defaultdict(list)
    names = [groups.name(place(head, head.onset_quarters)) for head in heads]
    for head, name in zip(heads, names, strict=True):
        together[name].append(head)
    octaves = {name: _octaves_nearer(group, limits) for name, group in together.items()}
    return tuple(
        _move_by_octaves(head, octaves[name]) for head, name in zip(heads, names, strict=True)
    )


_Place = tuple[int, str, Fraction]
"""Staff, voice ("" where all voices go together) and onset."""


class _JoinedOnsets:
    """Onsets of a staff that belong together: a forest of disjoint sets."""

    def __init__(self) -> None:
        self._above: dict[_Place, _Place] = {}

    def name(self, one: _Place) -> _Place:
        """The same for all that belong together."""
        while (above := self._above.get(one, one)) != one:
            one = above
        return one

    def join(self, *these: _Place) -> None:
        """These belong together from now on."""
        for one in these[1:]:
            if self.name(one) != self.name(these[0]):
                self._above[self.name(one)] = self.name(these[0])


_MOST_OCTAVES = 2
"""Octave lines go up to two octaves: 15ma (common practice)."""


def _octaves_nearer(group: list[Head], limits: tuple[int, int]) -> int:
    """By how many octaves to move a group so that the least of it lies outside the limits."""
    above, below = limits
    low = min(head.position for head in group)
    high = max(head.position for head in group)

    def outside(octaves: int) -> tuple[int, int]:
        over = max(high + 7 * octaves - above, 0) + max(below - low - 7 * octaves, 0)
        return over, abs(octaves)

    written = [head.octave_shift for head in group]
    return min(
        (
            octaves
            for octaves in range(-_MOST_OCTAVES, _MOST_OCTAVES + 1)
            if all(abs(shift + octaves) <= max(_MOST_OCTAVES, abs(shift)) for shift in written)
        ),
        key=outside,
    )


def _move_by_octaves(head: Head, octaves: int) -> Head:
    if not octaves:
        return head
    return replace(
        head,
        step=head.step + 7 * octaves,
        position=head.position + 7 * octaves,
        octave_shift=head.octave_shift + octaves,
    )


@dataclass(frozen=True, slots=True)
class BeamGroup:
    """Stems that one beam joins; a single stem has flags instead."""

    stems: tuple[Stem, ...]

    def count_between(self, place: int) -> int:
        """How many beams lead from a stem of the group to the one after it."""
        stem, following = self.stems[place : place + 2]
        shared = min(stem.value.flags, following.value.flags)
        return min(shared, stem.beams_to_next or shared)


@dataclass(frozen=True, slots=True)
class Tuplet:
    """Stems of one voice that are counted under one digit."""

    stems: tuple[Stem, ...]
    digit: str
    is_beamed: bool
    """One beam joins them all."""


def group_beams(score: Score, stems: tuple[Stem, ...]) -> tuple[BeamGroup, ...]:
    """All stems that have flags, joined where a beam joins them."""
    out: list[BeamGroup] = []
    for voice in _by_voice(stems):
        groups: list[list[Stem]] = []
        for stem in voice:
            if groups and _is_beamed_to(score, groups[-1][-1], stem):
                groups[-1].append(stem)
            elif stem.value.flags:
                groups.append([stem])
        out += [BeamGroup(tuple(group)) for group in groups]
    return tuple(out)


def _by_voice(stems: tuple[Stem, ...]) -> Iterator[list[Stem]]:
    voices: dict[tuple[int, str], list[Stem]] = defaultdict(list)
    for stem in stems:
        voices[stem.staff, stem.voice].append(stem)
    yield from voices.values()


def _is_beamed_to(score: Score, stem: Stem, following: Stem) -> bool:
    """Whether a beam leads from a stem to the next of its voice: as printed, else by beats."""
    if not (stem.value.flags and following.value.flags):
        return False
    if stem.beams_to_next is None:
        abut = stem.end_quarters == following.onset_quarters
        one, other = (_beam_place(score, it.onset_quarters) for it in (stem, following))
        return abut and one == other
    bar = score.bar_at(stem.onset_quarters)
    is_in_bar = following.onset_quarters < bar.end_quarters
    return stem.beams_to_next > 0 and is_in_bar and _has_only_rests_between(score, stem, following)


def _has_only_rests_between(score: Score, stem: Stem, following: Stem) -> bool:
    """Whether a voice is silent between two stems, as printed: beams lead over rests, too."""
    reached = stem.end_quarters
    for rest in score.rests if reached < following.onset_quarters else ():
        if (rest.staff, rest.voice, rest.onset_quarters) == (stem.staff, stem.voice, reached):
            reached += rest.length_quarters
    return reached == following.onset_quarters


def group_tuplets(
    score: Score, stems: tuple[Stem, ...], beams: Sequence[BeamGroup]
) -> tuple[Tuplet, ...]:
    """All stems of tuplets, by the digits they are counted under.

    A digit serves until its notes fill a plain value. Six even notes on one beam inside a beat are
    a sextuplet, though written at a triplet's ratio.
    """
    beam_of = {id(stem): at for at, group in enumerate(beams) for stem in group.stems}
    out: list[Tuplet] = []
    for voice in _by_voice(stems):
        runs: list[list[Stem]] = []
        for stem in voice:
            if runs and _is_counted_on(score, runs[-1], stem, beam_of):
                runs[-1].append(stem)
            elif stem.value.tuplet:
                runs.append([stem])
        for run in runs:
            joined = {beam_of.get(id(stem)) for stem in run}
            is_beamed = len(run) > 1 and len(joined) == 1 and None not in joined
            out.append(Tuplet(tuple(run), _tuplet_digit(run), is_beamed))
    return tuple(out)


def _is_counted_on(score: Score, run: list[Stem], stem: Stem, beam_of: Mapping[int, int]) -> bool:
    """Whether a stem is counted under the digit of those before it."""
    first, last = run[0], run[-1]
    if last.end_quarters != stem.onset_quarters or last.value.tuplet != stem.value.tuplet:
        return False
    whole = value_of(last.end_quarters - first.onset_quarters)
    if whole is None or whole.tuplet is not None:
        return True
    is_even = all(one.value == stem.value for one in run)
    one_beam = beam_of.get(id(first)) == beam_of.get(id(stem)) is not None
    places = {_beam_place(score, one.onset_quarters) for one in (first, stem)}
    return is_even and one_beam and len(places) == 1


def _beam_place(score: Score, onset: Fraction) -> tuple[int, int]:
    bar = score.bar_at(onset)
    inside = onset - bar.onset_quarters + bar.lead_quarters
    return bar.index, _beam_unit_of(bar, inside)


def _beam_unit_of(bar: Bar, inside: Fraction) -> int:
    groups = beam_units(bar.metre)
    unit = bar.metre.unit_quarters
    edge, index = Fraction(0), 0
    while True:
        edge += groups[index % len(groups)] * unit
        if inside < edge:
            return index
        index += 1


def beam_units(metre: Metre) -> tuple[int, ...]:
    """How many of the metre's lower number each beam spans, through one bar."""
    if metre.groups:
        return metre.groups
    if metre.beat_type >= 8 and not metre.is_compound and metre.beats > 4:
        twos = (metre.beats - metre.beats % 2 * 3) // 2
        return (2,) * twos + (3,) * (metre.beats % 2)
    per_beat = int(metre.beat_quarters / metre.unit_quarters)
    return (per_beat,) * metre.beats_in_bar


def _tuplet_digit(run: list[Stem]) -> str:
    tuplet = run[0].value.tuplet
    assert tuplet
    is_even = len({stem.value for stem in run}) == 1
    many = len(run) if is_even and len(run) > tuplet[0] and len(run) % tuplet[0] == 0 else 0
    return str(many or tuplet[0])


_SHORTEST = Fraction(1, 8)
"""A 32nd: less silence than this is a player's release or an exporter's rounding, not a rest."""


@dataclass(frozen=True, slots=True)
class Rest:
    """One rest on one staff."""

    staff: int
    onset_quarters: Fraction
    value: Value
    fills_bar: bool = False
    """Whether it stands for the whole bar, of whatever metre: then it looks like a whole rest."""
    up: bool | None = None
    """Of the upper or the lower of two voices; None where the whole staff is silent."""


def find_rests(score: Score, excerpt: Excerpt, heads: tuple[Head, ...]) -> tuple[Rest, ...]:
    """The rests of every staff that has a note in the window."""
    sounding: dict[int, list[tuple[Fraction, Fraction]]] = defaultdict(list)
    for head in heads:
        if not head.grace:
            end = head.onset_quarters + head.length_quarters
            sounding[head.staff].append((head.onset_quarters, end))
    start = excerpt.window.start_quarters
    end = max(excerpt.window.end_quarters, last_quarters(excerpt))
    out: list[Rest] = []
    for staff, spans in sorted(sounding.items()):
        for low, high in _silences(spans, start, end):
            out += _printed_silence(score, staff, low, high) or [
                rest
                for after, before in _silences(
                    _spans_over(score, heads, staff, low, high), low, high
                )
                for rest in _printed_silence(score, staff, after, before)
                or _split_silence(score, staff, after, before)
            ]
    return tuple(out)


def _spans_over(
    score: Score, heads: tuple[Head, ...], staff: int, low: Fraction, high: Fraction
) -> list[tuple[Fraction, Fraction]]:
    """When the voices of this staff are on the other one: a file with rests has none here then."""
    here = {head.voice for head in heads if head.staff == staff}
    return [
        (head.onset_quarters, min(head.onset_quarters + head.length_quarters, high))
        for head in heads
        if score.rests
        and head.staff != staff
        and head.voice in here
        and head.onset_quarters < high
        and head.onset_quarters + head.length_quarters > low
    ]


def _printed_silence(score: Score, staff: int, low: Fraction, high: Fraction) -> list[Rest]:
    """The rests of the one voice that fills this silence on the page; none where there is none."""
    voices: dict[str, list[PrintedRest]] = defaultdict(list)
    for rest in score.rests:
        end = rest.onset_quarters + rest.length_quarters
        if rest.staff == staff and low <= rest.onset_quarters and end <= high:
            voices[rest.voice].append(rest)
    for _, rests in sorted(voices.items()):
        if sum(rest.length_quarters for rest in rests) == high - low:
            found = [_as_printed(score, rest) for rest in rests]
            return [rest for rest in found if rest] if all(found) else []
    return []


def _as_printed(score: Score, rest: PrintedRest) -> Rest | None:
    """A rest as it stands on the page; None for a length that no rest has."""
    fills_bar = rest.length_quarters == score.bar_at(rest.onset_quarters).length_quarters
    value = Value(Fraction(4)) if fills_bar else value_of(rest.length_quarters)
    return Rest(rest.staff, rest.onset_quarters, value, fills_bar) if value else None


def find_inner_rests(score: Score, excerpt: Excerpt, heads: tuple[Head, ...]) -> tuple[Rest, ...]:
    """Printed rests of one voice while another sounds on its staff."""
    low, high = excerpt.window.start_quarters, excerpt.window.end_quarters
    upper = _upper_voices(heads)
    sounding: dict[int, list[tuple[Fraction, Fraction, str]]] = defaultdict(list)
    for head in heads:
        if not head.grace:
            end = head.onset_quarters + head.length_quarters
            sounding[head.staff].append((head.onset_quarters, end, head.voice))
    out = []
    for rest in score.rests:
        start, end = rest.onset_quarters, rest.onset_quarters + rest.length_quarters
        printed = _as_printed(score, rest)
        here = sounding.get(rest.staff, ())
        others = {voice for a, b, voice in here if a < end and b > start} - {rest.voice}
        if low <= start < high and others and printed:
            is_known = any(voice == rest.voice for *_, voice in here)
            up = rest.voice in upper[rest.staff] if is_known else rest.voice < min(others)
            out.append(replace(printed, up=up))
    return tuple(out)


def _silences(
    spans: list[tuple[Fraction, Fraction]], start: Fraction, end: Fraction
) -> list[tuple[Fraction, Fraction]]:
    out, at = [], start
    for low, high in sorted(spans):
        if low - at >= _SHORTEST:
            out.append((at, low))
        at = max(at, high)
    if end - at >= _SHORTEST:
        out.append((at, end))
    return out


def _split_silence(score: Score, staff: int, low: Fraction, high: Fraction) -> list[Rest]:
    out = []
    while low < high:
        bar = score.bar_at(low)
        end = min(high, bar.end_quarters) if bar.end_quarters > low else high
        whole = bar.length_quarters == bar.metre.bar_quarters
        if whole and low == bar.onset_quarters and end == bar.end_quarters:
            out.append(Rest(staff, low, Value(Fraction(4)), fills_bar=True))
            low = end
            continue
        length = _to_next_beat(bar, low, end)
        if length <= 0:  # of a bar that holds more than it is long
            return out
        for piece, value in reversed(split_length(length)):  # the longest last, up to the beat
            if value.base_quarters >= _SHORTEST:
                out.append(Rest(staff, low, value))
            low += piece
    return out


def _to_next_beat(bar: Bar, low: Fraction, end: Fraction) -> Fraction:
    """The longest rest from here: up to the next beat, or several whole beats from a beat."""
    beats = [beat for beat in bar.beats_quarters() if beat > low] + [bar.end_quarters]
    if low in bar.beats_quarters():
        reach = [beat for beat in beats if beat <= end and _is_plain(beat - low)]
        return reach[-1] - low if reach else end - low
    return min(beats[0], end) - low


def _is_plain(length: Fraction) -> bool:
    value = value_of(length)
    return value is not None and value.tuplet is None


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
    tuplets: tuple[Tuplet, ...]
    rests: tuple[Rest, ...]
    counts: Mapping[Fraction, str]
    beats: frozenset[Fraction]
    last_quarters: Fraction
    """The last onset that is drawn."""
    inner_rests: tuple[Rest, ...] = ()
    """As printed, of one voice beside another."""
    touches: tuple[Touch, ...] = ()
    directions: tuple[Direction, ...] = ()
    lines: tuple[PrintedLine, ...] = ()
    held_notes: tuple[ScoreNote, ...] = ()
    """Struck before the window, and held into it."""
    held: tuple[Head, ...] = ()
    """Their heads; they count on from the excerpt's notes."""
    held_stems: tuple[Stem, ...] = ()

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
    def starts_repeat(self) -> bool:
        """Whether the window begins where a repeat does."""
        return self.bars[0].repeat_start and not self.starts_cut

    @property
    def ends_cut(self) -> bool:
        """Whether the bar goes on after the last thing drawn."""
        bar = self.bars[-1]
        after = self.last_quarters + INSTANT_QUARTERS
        goes_on = self.score.notes_between(after, bar.end_quarters, self.excerpt.window.hands)
        if self.excerpt.window.end_quarters >= bar.end_quarters:
            return False
        sounding = max(head.onset_quarters + head.length_quarters for head in self.heads)
        return bool(goes_on) or sounding < bar.end_quarters


def write(
    score: Score,
    excerpt: Excerpt,
    counts: Counts,
    *,
    fold: tuple[int, int] | None = None,
    fingers: Mapping[str, str] | None = None,
    recalls_dynamics: bool = True,
) -> Written:
    """What is written in a window, without columns or rows.

    ``fold``: write what lies beyond these positions octaves nearer, under an octave line.
    ``fingers``: see :func:`list_heads`. ``recalls_dynamics``: whether it begins with how loud
    it is there, where that is not printed.
    """
    all_heads = list_heads(score, excerpt, fingers)
    all_heads = fold_far_ledger_lines(score, all_heads, fold) if fold else all_heads
    all_stems = join_stems(all_heads)
    beams = group_beams(score, all_stems)
    held_notes, held = list_held(score, excerpt)
    staves = frozenset(head.staff for head in all_heads)
    sounding = (*all_heads, *(head for head in held if head.staff in staves))
    all_rests = find_rests(score, excerpt, sounding)
    inner_rests = find_inner_rests(score, excerpt, sounding)
    start, end = excerpt.window.start_quarters, excerpt.window.end_quarters
    last = max(head.onset_quarters for head in all_heads)
    beats = frozenset(
        beat
        for bar in score.bars
        for beat in bar.beats_quarters()
        if start <= beat and (beat <= last or beat < end)
    )
    rests = (*all_rests, *inner_rests)
    last = max([last, *beats, *(rest.onset_quarters for rest in rests)])
    onsets = sorted({head.onset_quarters for head in all_heads} | beats)
    return Written(
        score=score,
        excerpt=excerpt,
        heads=all_heads,
        stems=all_stems,
        beams=beams,
        tuplets=group_tuplets(score, all_stems, beams),
        rests=all_rests,
        inner_rests=inner_rests,
        counts=dict(zip(onsets, counts(score, onsets), strict=True)),
        beats=beats,
        last_quarters=last,
        touches=find_touches(excerpt, all_heads),
        directions=(
            *(dynamics_in_force(score, staves, start) if recalls_dynamics else ()),
            *find_directions(score, staves, start, end),
        ),
        lines=find_lines(score, staves, start, end),
        held_notes=held_notes,
        held=held,
        held_stems=stems_of_held(all_heads, held),
    )


# What is printed besides heads: touch and ornaments, dynamics, words, long lines.

_AT_LAST_PIECE = frozenset({NoteMark.FERMATA, NoteMark.SLUR_END})
_NO_SIGN_OF_ITS_OWN = frozenset(
    {
        NoteMark.UNDER_SLUR,
        NoteMark.SMALL_PRINT,
        NoteMark.SLASH,
        NoteMark.ROLLED_ACROSS,
        NoteMark.TREMOLO_TO_NEXT,
    }
)
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
