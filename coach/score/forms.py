"""Ways of practising as written music: the same notes in another rhythm, or gathered to chords.

What a teacher asks for at a place that won't come is another exercise, made of the same notes. Here
it is written out: from the notes of an excerpt to other notes, which are then drawn and judged as
any others. Each note keeps its id, its hand and its fingering, so that what is learnt is the same.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from enum import StrEnum
from fractions import Fraction
from itertools import groupby, pairwise

from coach.score.model import ScoreNote


class WrittenForm(StrEnum):
    """In which form the notes of a window are played."""

    AS_WRITTEN = "as written"
    DOTTED = "dotted"
    """Even notes long and short by turns: dotted."""
    SHORT_LONG = "short and long"
    """The same the other way round: the hurried ones of before now have time."""
    BLOCKED = "blocked"
    """What lies in one hand position is struck at once, a chord for each beat."""


LONG_SHARE = Fraction(3, 2)
"""Of two even notes the long one gets one and a half, the short one what is left: a dotted figure
(common practice)."""
WIDEST_GRIP = 12
"""Semitones that one hand is asked to grip: an octave (common practice)."""
MOST_IN_GRIP, FEWEST_IN_GRIP = 5, 2
"""Keys that one hand strikes at once: as many as it has fingers; one key is no chord."""
LARGEST_SECOND = 2
"""Semitones of a whole tone. Most of a grip is wider: what goes by step is no chord, and struck at
once a cluster (common practice)."""

Chord = tuple[ScoreNote, ...]
"""The notes that one hand strikes at one onset."""


def write_in_form(
    notes: Sequence[ScoreNote], form: WrittenForm, beats_quarters: Sequence[Fraction]
) -> tuple[ScoreNote, ...]:
    """The notes in another form, in the order of an excerpt; the same where it changes nothing.

    ``beats_quarters`` are the onsets of the metre's beats.
    """
    if form is WrittenForm.AS_WRITTEN:
        return tuple(notes)
    out = _REWRITE[form](notes, beats_quarters)
    return tuple(sorted(out, key=lambda n: (n.onset_quarters, n.grace is None, n.pitch)))


def _by_hand(note: ScoreNote) -> tuple[str, Fraction, bool, int]:
    return note.hand.value, note.onset_quarters, note.grace is None, note.pitch


def _hands(notes: Sequence[ScoreNote]) -> list[list[ScoreNote]]:
    """The notes of each hand."""
    rows = groupby(sorted(notes, key=_by_hand), key=lambda note: note.hand)
    return [list(row) for _, row in rows]


def _chords(row: Iterable[ScoreNote]) -> list[Chord]:
    """One hand's notes by their onsets; small notes are left out, for they have no rhythm."""
    played = (note for note in row if note.grace is None)
    return [tuple(chord) for _, chord in groupby(played, key=lambda note: note.onset_quarters)]


def _dot(notes: Sequence[ScoreNote], beats: Sequence[Fraction]) -> list[ScoreNote]:
    return _pair(notes, beats, LONG_SHARE)


def _dot_back(notes: Sequence[ScoreNote], beats: Sequence[Fraction]) -> list[ScoreNote]:
    return _pair(notes, beats, 2 - LONG_SHARE)


def _pair(
    notes: Sequence[ScoreNote], beats: Sequence[Fraction], first_share: Fraction
) -> list[ScoreNote]:
    """Even pairs uneven: the first of two gets this share of its length, the second the rest.

    What the other hand strikes in the middle of a pair goes along, and longer notes beside it stay
    as they are written. So the hands meet where they met.
    """
    moved: dict[Fraction, Fraction] = {}
    for row in _hands(notes):
        for first, second in _even_pairs(_chords(row), beats):
            onset, length = first[0].onset_quarters, _length(first)
            if not _is_crossed(notes, onset, length):
                moved[second[0].onset_quarters] = onset + length * first_share
    return [
        _moved(note, moved) for row in _hands(notes) for chord in _chords(row) for note in chord
    ]


def _moved(note: ScoreNote, moved: dict[Fraction, Fraction]) -> ScoreNote:
    onset = moved.get(note.onset_quarters, note.onset_quarters)
    end = moved.get(note.end_quarters, note.end_quarters)
    if (onset, end) == (note.onset_quarters, note.end_quarters):
        return note
    return replace(_with_length(note, end - onset), onset_quarters=onset)


def _is_crossed(notes: Sequence[ScoreNote], onset: Fraction, length: Fraction) -> bool:
    """Whether anything is struck inside a pair but its second note."""
    inside = (n.onset_quarters for n in notes if onset < n.onset_quarters < onset + 2 * length)
    return any(at != onset + length for at in inside)


def _even_pairs(chords: list[Chord], beats: Sequence[Fraction]) -> Iterator[tuple[Chord, Chord]]:
    at = 0
    while at + 1 < len(chords):
        are_a_pair = _are_a_pair(chords[at], chords[at + 1], beats)
        if are_a_pair:
            yield chords[at], chords[at + 1]
        at += 1 + are_a_pair


def _are_a_pair(first: Chord, second: Chord, beats: Sequence[Fraction]) -> bool:
    """Two of the same length, one right after the other, the first where a pair begins."""
    length, onset = _length(first), first[0].onset_quarters
    lengths = {note.length_quarters for note in (*first, *second)}
    follows = second[0].onset_quarters == onset + length
    return lengths == {length} and follows and _begins_pair(onset, length, beats)


def _begins_pair(onset: Fraction, length: Fraction, beats: Sequence[Fraction]) -> bool:
    """Whether an even number of such notes lies between here and the beat before, or from the first
    beat on where they are beats themselves."""
    before = max((beat for beat in beats if beat <= onset), default=onset)
    step = beats[1] - beats[0] if len(beats) > 1 else 2 * length
    since = before if length < step else beats[0]
    return (onset - since) % (2 * length) == 0


def _length(chord: Chord) -> Fraction:
    return max(note.length_quarters for note in chord)


def _with_length(note: ScoreNote, length: Fraction) -> ScoreNote:
    """A note of another length, which no tie or beam of before fits any more."""
    return replace(note, length_quarters=length, segments_quarters=(), beams_to_next=())


def _block(notes: Sequence[ScoreNote], beats: Sequence[Fraction]) -> list[ScoreNote]:
    return [note for row in _hands(notes) for note in _block_hand(_chords(row), beats)]


def _block_hand(chords: list[Chord], beats: Sequence[Fraction]) -> list[ScoreNote]:
    """What one hand strikes between two beats, as one chord on the first of them."""
    out: list[ScoreNote] = []
    edges = [*beats, beats[-1] + (beats[-1] - beats[-2])]
    inside = {
        start: [chord for chord in chords if start <= chord[0].onset_quarters < end]
        for start, end in pairwise(edges)
    }
    placed = [chord for group in inside.values() for chord in group]
    for (start, end), group in zip(pairwise(edges), inside.values(), strict=True):
        grip = _grip([note for chord in group for note in chord])
        onset = group[0][0].onset_quarters if group else start
        if len(group) > 1 and grip:
            reach = max(note.end_quarters for chord in group for note in chord)
            length = min(reach, end) - onset
            out += [replace(_with_length(note, length), onset_quarters=onset) for note in grip]
        else:
            out += [note for chord in group for note in chord]
    return out + [note for chord in chords if chord not in placed for note in chord]


def _grip(notes: list[ScoreNote]) -> list[ScoreNote]:
    """Each key once; empty where one hand can't hold them at once, or would hold a cluster."""
    keys = {note.pitch: note for note in reversed(notes)}
    fits = FEWEST_IN_GRIP <= len(keys) <= MOST_IN_GRIP and max(keys) - min(keys) <= WIDEST_GRIP
    steps = [upper - lower for lower, upper in pairwise(sorted(keys))]
    seconds = sum(step <= LARGEST_SECOND for step in steps)
    return list(keys.values()) if fits and 2 * seconds < len(steps) else []


_REWRITE: dict[
    WrittenForm, Callable[[Sequence[ScoreNote], Sequence[Fraction]], list[ScoreNote]]
] = {
    WrittenForm.DOTTED: _dot,
    WrittenForm.SHORT_LONG: _dot_back,
    WrittenForm.BLOCKED: _block,
}
