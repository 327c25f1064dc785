"""Spanners, what goes from one note to another: ties, slurs and other lines."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby

from coach.score.model import FREE_MARKS, Bar, LineKind, NoteMark, PrintedLine
from coach.score.reading.musicxml.facts import LineAt, RawNote

# Ties merged: one note for what is struck once.
#
# A note that ends a tie continues the open note of the same key that ends where it begins: first
# one of its own voice and staff, then of its staff, then any. A tie that is begun and never ended
# (a tie into another ending, a note left to ring) leaves the note its own length; an end without a
# beginning is a note of its own. Where the two do not meet, but the second says that it ends a tie,
# it is not struck again: the key is down.


_NEAR = Fraction(1, 16)
"""Exporters' rounding: a tie's two notes may miss each other by this much, in quarters."""
_Fit = Callable[["Tied", Fraction, RawNote], bool]
_LASTING = FREE_MARKS | {NoteMark.FERMATA}
"""Marks that count for the whole sound wherever they stand on it."""


@dataclass(slots=True)
class Tied:
    """A note as it is struck: one written note, or several that ties join."""

    first: RawNote
    onset: Fraction
    """In quarters from the start of the piece."""
    segments: list[Fraction]
    beams: list[int | None]
    """Of each segment, how many beams lead on from its stem."""
    last: RawNote
    """The written note that ends it."""
    last_end: Fraction
    reach: Fraction
    """Where the last note may be meant to end: with its chord, or with its bar."""
    voice_end: Fraction = Fraction(0)
    """How far its voice goes on from the last note without a rest, in the same bar."""

    @property
    def length(self) -> Fraction:
        """The sounding length."""
        return self.segments[0] if len(self.segments) == 1 else sum(self.segments, Fraction(0))


_Placed = tuple[Fraction, RawNote]


def merge_ties(notes: Iterable[_Placed], bar_ends: Sequence[Fraction]) -> list[Tied]:
    """Merge the notes, given with their onsets in the piece, in the order of their onsets."""
    in_order = sorted(notes, key=_sort_key)
    reaches, voice_ends = _reaches(in_order, bar_ends), _voice_ends(in_order)
    merged: list[Tied] = []
    waiting: dict[int, list[Tied]] = {}
    for _, group in groupby(in_order, key=_sort_key):
        merged += _at_one_onset(list(group), waiting, reaches, voice_ends)
    return merged


def _sort_key(placed: _Placed) -> tuple[Fraction, bool]:
    # A small note that is tied to its main note is struck before it.
    return placed[0], placed[1].grace is None


def _reaches(notes: list[_Placed], bar_ends: Sequence[Fraction]) -> dict[int, Fraction]:
    """Where each chord may be meant to end.

    A file may give the notes of a tied chord different lengths by mistake; and a voice may stop
    short of its bar's end, in a bar that another part makes too long, with a tie over the barline.
    """
    reaches: dict[int, Fraction] = {}
    last: dict[tuple[int, int, str], RawNote] = {}
    for onset, note in notes:
        end = onset + note.length
        reaches[note.chord] = max(reaches.get(note.chord, end), end)
        last[note.bar, note.staff, note.voice] = note
    for note in last.values():
        reaches[note.chord] = max(reaches[note.chord], bar_ends[note.bar])
    return reaches


def _voice_ends(notes: list[_Placed]) -> dict[int, Fraction]:
    """For each chord where its voice, going on from its end without a rest, ends in its bar."""
    ends: dict[tuple[int, int, str], dict[Fraction, Fraction]] = {}
    for onset, note in notes:
        if note.length:
            ends.setdefault((note.bar, note.staff, note.voice), {})[onset] = onset + note.length
    out: dict[int, Fraction] = {}
    for onset, note in notes:
        voice, end = ends.get((note.bar, note.staff, note.voice), {}), onset + note.length
        while note.tie_start and end in voice:
            end = voice[end]
        out[note.chord] = max(out.get(note.chord, end), end)
    return out


def _at_one_onset(
    group: list[_Placed],
    waiting: dict[int, list[Tied]],
    reaches: dict[int, Fraction],
    voice_ends: dict[int, Fraction],
) -> list[Tied]:
    """Continue what waits for these notes; the rest are new."""
    joined = _find_continued_ties(group, waiting)
    new: list[Tied] = []
    opened: list[Tied] = []
    for onset, note in group:
        tied = joined.get(id(note))
        if tied is None:
            tied = Tied(
                note, onset, [note.length], [note.beams_to_next], note, onset + note.length, onset
            )
            new.append(tied)
        tied.reach, tied.voice_end = reaches[note.chord], voice_ends[note.chord]
        if note.tie_start:
            opened.append(tied)
    for tied in opened:
        waiting.setdefault(tied.first.spelling.midi, []).append(tied)
    return new


def _find_continued_ties(group: list[_Placed], waiting: dict[int, list[Tied]]) -> dict[int, Tied]:
    """The open note that each of these notes continues, by the note's identity."""
    joined: dict[int, Tied] = {}
    for fits in _FITS:
        for onset, note in group:
            if note.tie_stop and id(note) not in joined:
                tied = _take(waiting.get(note.spelling.midi, []), onset, note, fits)
                if tied:
                    joined[id(note)] = tied
                    if fits in _NOT_ABUTTING:
                        _close_up(tied, onset, note)
                    _lengthen(tied, onset, note)
    return joined


def _take(candidates: list[Tied], onset: Fraction, note: RawNote, fits: _Fit) -> Tied | None:
    """Take out the open note that the given one continues."""
    candidates[:] = [
        tied
        for tied in candidates
        if tied.reach >= onset - _NEAR or tied.last_end > onset or tied.last.bar == note.bar
    ]
    for tied in candidates:
        if fits(tied, onset, note):
            candidates.remove(tied)
            return tied
    return None


def _lengthen(tied: Tied, onset: Fraction, note: RawNote) -> None:
    first = tied.first
    if first.grace and note.length:
        # Struck before the beat and held: it is the main note, rolled in.
        first.grace = None
        first.marks |= note.marks | {NoteMark.ARPEGGIO}
        first.fingering = first.fingering or note.fingering
        tied.segments.clear()
        tied.beams.clear()
    first.marks |= note.marks & _LASTING
    first.slurs = first.slurs + note.slurs
    tied.segments.append(note.length)
    tied.beams.append(note.beams_to_next)
    tied.last = note
    tied.last_end = onset + note.length


def _meets(tied: Tied, onset: Fraction) -> bool:
    return abs(tied.last_end - onset) <= _NEAR


def _same_voice(tied: Tied, onset: Fraction, note: RawNote) -> bool:
    return _same_staff(tied, onset, note) and tied.last.voice == note.voice


def _same_staff(tied: Tied, onset: Fraction, note: RawNote) -> bool:
    return _meets(tied, onset) and tied.last.staff == note.staff


def _same_key(tied: Tied, onset: Fraction, note: RawNote) -> bool:
    return _meets(tied, onset)


def _almost_reaches(tied: Tied, onset: Fraction, note: RawNote) -> bool:
    """The note before stops short of this one, but its chord or its bar does not."""
    kin = tied.last.staff == note.staff and tied.last.voice == note.voice
    return kin and abs(tied.reach - onset) <= _NEAR


def _is_held(tied: Tied, onset: Fraction, note: RawNote) -> bool:
    """The note before is longer than the way to this one: the key is down already."""
    return tied.last.staff == note.staff and tied.onset < onset < tied.last_end


def _waits(tied: Tied, onset: Fraction, note: RawNote) -> bool:
    """The note before ends sooner in the same bar, and its voice goes on to this one: the notes of
    a broken chord are tied, each from its own onset, into the chord. The keys stay down."""
    kin = tied.last.staff == note.staff and tied.last.bar == note.bar
    return kin and tied.last_end < onset <= tied.voice_end


_NOT_ABUTTING = (_is_held, _waits)
_FITS: tuple[_Fit, ...] = (_same_voice, _same_staff, _same_key, _almost_reaches, *_NOT_ABUTTING)


def _close_up(tied: Tied, onset: Fraction, note: RawNote) -> None:
    """Let the last written length end where the note that it is tied to begins."""
    if tied.segments:
        tied.segments[-1] += onset - tied.last_end
    tied.last_end = onset


# Lines over the notes: slurs, and octave lines.


@dataclass(frozen=True, slots=True)
class Stretch:
    """A line from one onset up to another over a staff, in quarters from the piece's start."""

    start: Fraction
    end: Fraction
    staff: int
    octaves: int = 0
    grows: bool = False


def stretches(lines: Sequence[LineAt], bars: Sequence[Bar], kinds: Sequence[str]) -> list[Stretch]:
    """The lines of these kinds, from their starts to their stops.

    One that is never stopped goes on to the end of the piece. An octave line does so to the end of
    its bar: exporters forget the stop, and then all that follows would be written an octave off. On
    one staff there is one octave line at a time, whatever its number: another ends it.
    """
    placed = [
        (bars[line.bar].onset_quarters + line.at, line) for line in lines if line.kind in kinds
    ]
    placed.sort(key=lambda pair: (pair[0], pair[1].is_start))
    opened: dict[tuple[str, str, int], tuple[Fraction, LineAt]] = {}
    out: list[Stretch] = []
    for at, line in placed:
        key = (line.kind, "" if line.kind == "octave" else line.number, line.staff)
        if key in opened:
            start, before = opened.pop(key)
            out.append(_stretch(start, before, min(at, _latest_end(before, bars, line))))
        if line.is_start:
            opened[key] = (at, line)
    return out + [_stretch(at, line, _latest_end(line, bars)) for at, line in opened.values()]


def _latest_end(line: LineAt, bars: Sequence[Bar], ended_by: LineAt | None = None) -> Fraction:
    """Where a line ends at the latest: one that another began after has not been stopped."""
    was_stopped = ended_by is not None and not ended_by.is_start
    if line.kind == "octave" and not was_stopped:
        return bars[line.bar].end_quarters
    return bars[-1].end_quarters


def _stretch(start: Fraction, line: LineAt, end: Fraction) -> Stretch:
    return Stretch(start, end, line.staff, line.octaves, line.grows)


def printed_lines(lines: Sequence[LineAt], bars: Sequence[Bar]) -> tuple[PrintedLine, ...]:
    """Hairpins and pedal marks; one without an end, or with its end before it, is left out."""
    found = []
    for line in stretches(lines, bars, ["wedge"]):
        kind = LineKind.CRESCENDO if line.grows else LineKind.DIMINUENDO
        found.append(PrintedLine(kind, line.staff, line.start, line.end))
    for line in stretches(lines, bars, ["pedal"]):
        found.append(PrintedLine(LineKind.PEDAL, line.staff, line.start, line.end))
    sound = (line for line in found if line.start_quarters < line.end_quarters)
    return tuple(sorted(sound, key=lambda line: (line.start_quarters, line.staff, line.kind)))


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
        marks.add(NoteMark.SLUR_START)
    elif note.first.chord == end.first.chord:
        marks.add(NoteMark.SLUR_END)
    elif start.onset < note.onset < end.onset:
        marks.add(NoteMark.UNDER_SLUR)
