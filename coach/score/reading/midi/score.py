"""A MIDI file as a Score: what it says exactly, and what can only be guessed from it.

A MIDI file has no spelling, no staves and no ties, and its lengths are those that it plays. Keys,
metres and tempos are taken from it; notes are spelled by the key; hands are taken from the tracks
or, from a single track, guessed.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Sequence
from fractions import Fraction

from coach.score.errors import ScoreError
from coach.score.metre import COMMON_TIME, Metre
from coach.score.model import Bar, Hand, Score, ScoreNote
from coach.score.pitch import Spelling
from coach.score.printed import Clef, Remark, TempoMark
from coach.score.reading.files import Source
from coach.score.reading.midi.file import MidiPiece, read_midi_file
from coach.score.reading.midi.grid import is_notated, quarters
from coach.score.reading.midi.tracks import HandNote, hands_of_tracks
from coach.score.reading.musicxml import sensible
from coach.score.reading.safe import count

_MOST_BARS = 20_000
_DEFAULT_QPM = 120.0
"""Where a MIDI file has no tempo (Standard MIDI Files 1.0)."""
_MAJOR = (0, 2, 4, 5, 7, 9, 11)


def read_midi(source: Source) -> Score:
    """Read a Standard MIDI file of format 0 or 1.

    Raises ScoreError where it is damaged, or holds no note with a pitch.
    """
    piece = read_midi_file(source.data, source.name)
    notes, remarks = hands_of_tracks(piece, source.name)
    unit = piece.ticks_per_quarter
    notated = is_notated([note.start for note in notes], unit)
    keys = piece.keys or [(0, _likeliest_key([note.pitch for note in notes]))]
    bars = _bars(piece, keys, max(note.end for note in notes), source.name)
    return Score(
        title=piece.title or source.name.rsplit(".", 1)[0],
        bars=tuple(bars),
        notes=tuple(_notes(notes, bars, unit, notated)),
        clefs=(Clef(1, Fraction(0), "G", 2), Clef(2, Fraction(0), "F", 4)),
        tempos=_tempos(piece),
        remarks=(*remarks, *_remarks(piece, notated)),
        source=source.name,
    )


def _remarks(piece: MidiPiece, notated: bool) -> list[Remark]:
    out = [Remark("guess", "A MIDI file has no spelling: notes were spelled by the key.")]
    if not piece.keys:
        out.append(Remark("guess", "The file has no key signature: the likeliest was taken."))
    if not piece.metres:
        out.append(Remark("guess", "The file has no time signature: 4/4 was taken."))
    if not notated:
        text = "The file is a performance, not notation: its rhythm stands as it was played."
        out.append(Remark("guess", text))
    if piece.unended:
        text = f"{count(piece.unended, 'note')} without an end: held to the end of the track."
        out.append(Remark("repaired", text))
    return out


def _likeliest_key(pitches: Sequence[int]) -> int:
    """The signature whose scale holds the most notes; the one with fewer accidentals of two."""
    counts = Counter(pitch % 12 for pitch in pitches)

    def held(fifths: int) -> int:
        return sum(counts[(7 * fifths + step) % 12] for step in _MAJOR)

    return max(range(-6, 7), key=lambda fifths: (held(fifths), -abs(fifths)))


def _bars(
    piece: MidiPiece, keys: Sequence[tuple[int, int]], last_tick: int, name: str
) -> list[Bar]:
    unit = piece.ticks_per_quarter
    end = Fraction(last_tick, unit)
    metres = _metres(piece)
    key_onsets = [Fraction(tick, unit) for tick, _ in keys]
    bars: list[Bar] = []
    for place, (onset, metre) in enumerate(metres):
        stop = metres[place + 1][0] if place + 1 < len(metres) else end
        while onset < stop:
            length = min(metre.bar_quarters, stop - onset) if stop < end else metre.bar_quarters
            key = keys[max(bisect_right(key_onsets, onset) - 1, 0)][1]
            bars.append(Bar(len(bars), str(len(bars) + 1), onset, length, metre, key))
            onset += length
            if len(bars) > _MOST_BARS:
                raise ScoreError(f"{name} is longer than {_MOST_BARS} bars: refused.")
    return bars


def _metres(piece: MidiPiece) -> list[tuple[Fraction, Metre]]:
    """The metres with their onsets in quarters, the first at 0; 4/4 where there is none."""
    metres = {Fraction(0): COMMON_TIME}
    for tick, upper, lower in sorted(piece.metres):
        metres[Fraction(tick, piece.ticks_per_quarter)] = Metre(upper, lower)
    return sorted(metres.items(), key=lambda pair: pair[0])


def _tempos(piece: MidiPiece) -> tuple[TempoMark, ...]:
    marks: dict[Fraction, TempoMark] = {}
    for tick, microseconds in sorted(piece.tempos):
        onset = Fraction(tick, piece.ticks_per_quarter)
        qpm = sensible(60_000_000 / microseconds)
        if qpm:
            marks[onset] = TempoMark(onset, qpm)
    if Fraction(0) not in marks:
        marks[Fraction(0)] = TempoMark(Fraction(0), _DEFAULT_QPM, "", True)
    return tuple(sorted(marks.values(), key=lambda mark: mark.onset_quarters))


def _notes(
    notes: Sequence[HandNote], bars: Sequence[Bar], unit: int, notated: bool
) -> list[ScoreNote]:
    def time(ticks: int) -> Fraction:
        return quarters(ticks, unit) if notated else Fraction(ticks, unit)

    onsets = [bar.onset_quarters for bar in bars]
    counts: Counter[int] = Counter()
    out = []
    for note in notes:
        onset = time(note.start)
        bar = bars[bisect_right(onsets, onset) - 1]
        counts[bar.index] += 1
        staff = 1 if note.hand is Hand.RIGHT else 2
        out.append(
            ScoreNote(
                id=f"b{bar.index}n{counts[bar.index]}",
                pitch=note.pitch,
                spelling=Spelling.of(note.pitch, bar.key_fifths),
                onset_quarters=onset,
                length_quarters=max(time(note.end) - onset, Fraction(1, unit)),
                staff=staff,
                hand=note.hand,
                bar_index=bar.index,
                hand_is_guess=note.hand_is_guess,
            )
        )
    return sorted(out, key=lambda note: (note.onset_quarters, note.pitch))
