"""Lines over the notes: slurs, and octave lines."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from coach.score.model import Bar
from coach.score.printed import Mark
from coach.score.reading.musicxml.found import LineAt
from coach.score.reading.musicxml.ties import Tied


@dataclass(frozen=True, slots=True)
class Stretch:
    """A line from one onset up to another over a staff, in quarters from the piece's start."""

    start: Fraction
    end: Fraction
    staff: int
    octaves: int = 0


def stretches(lines: Sequence[LineAt], bars: Sequence[Bar], kinds: Sequence[str]) -> list[Stretch]:
    """The lines of these kinds, from their starts to their stops (or the end of the piece)."""
    placed = [
        (bars[line.bar].onset_quarters + line.at, line) for line in lines if line.kind in kinds
    ]
    placed.sort(key=lambda pair: (pair[0], pair[1].is_start))
    opened: dict[tuple[str, str, int], tuple[Fraction, LineAt]] = {}
    out: list[Stretch] = []
    for at, line in placed:
        key = (line.kind, line.number, line.staff)
        if key in opened:
            out.append(_stretch(*opened.pop(key), at))
        if line.is_start:
            opened[key] = (at, line)
    return out + [_stretch(at, line, bars[-1].end_quarters) for at, line in opened.values()]


def _stretch(start: Fraction, line: LineAt, end: Fraction) -> Stretch:
    return Stretch(start, end, line.staff, line.octaves)


def shift_octaves(notes: Sequence[Tied], octave_lines: Sequence[Stretch]) -> None:
    """Tell the notes under an octave line where they are written; notes come by onset."""
    onsets = [note.onset for note in notes]
    for line in octave_lines:
        for note in notes[bisect_left(onsets, line.start) : bisect_left(onsets, line.end)]:
            if note.first.staff == line.staff:
                note.first.octave_shift += line.octaves


def mark_slurs(notes: Sequence[Tied]) -> None:
    """Put the beginnings and ends of slurs onto the notes, and what lies under them.

    Notes come by onset. A slur holds for the voices of its two ends, whole chords included.
    """
    voices: dict[tuple[int, str], list[Tied]] = {}
    for note in notes:
        voices.setdefault((note.first.staff, note.first.voice), []).append(note)
    onsets = {key: [note.onset for note in voice] for key, voice in voices.items()}
    for start, end in _slurs(notes):
        for key in {(tied.first.staff, tied.first.voice) for tied in (start, end)}:
            low = bisect_left(onsets[key], start.onset)
            high = bisect_right(onsets[key], end.onset)
            for note in voices[key][low:high]:
                _mark(note, start, end)


def _slurs(notes: Sequence[Tied]) -> list[tuple[Tied, Tied]]:
    opened: dict[str, Tied] = {}
    found: list[tuple[Tied, Tied]] = []
    for note in notes:
        # A slur that ends here may hand its number to one that begins here.
        for number, kind in sorted(note.first.slurs, key=lambda slur: slur[1] == "start"):
            if kind == "start":
                opened[number] = note
            elif number in opened:
                found.append((opened.pop(number), note))
    return found


def _mark(note: Tied, start: Tied, end: Tied) -> None:
    marks = note.first.marks
    if note.first.chord == start.first.chord:
        marks.add(Mark.SLUR_START)
    elif note.first.chord == end.first.chord:
        marks.add(Mark.SLUR_END)
    elif start.onset < note.onset < end.onset:
        marks.add(Mark.UNDER_SLUR)
