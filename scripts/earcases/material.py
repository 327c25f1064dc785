"""Pieces that installed packages ship, as written notes and, where there is one, a recording."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from scripts.corpus import PIANO_SCORES, corpus

KEYBOARD_REDUCTIONS = (
    "haydn/opus74no1/movement3.mxl",
    "beethoven/opus18no3.mxl",
    "mozart/k458/movement3.mxl",
    "schumann_robert/opus41no1/movement3.mxl",
    "corelli/opus3no1/1grave.xml",
    "bach/bwv66.6.mxl",
    "bach/bwv7.7.mxl",
    "bach/bwv295.mxl",
)
"""Several parts, of which the upper half goes to the right hand, the lower to the left."""

_NO_PEDAL = 128
"""A pedal value that no pedal reaches: a note is as long as its key was down, which is what a live
keyboard sends, and not until the pedal let it end."""


@dataclass(frozen=True, slots=True)
class Written:
    """One written note; ``onset`` and ``length`` in quarters from the piece's start."""

    pitch: int
    onset: Fraction
    length: Fraction
    staff: int
    grace: bool = False

    @property
    def hand(self) -> str:
        return "RH" if self.staff == 1 else "LH"


@dataclass(frozen=True, slots=True)
class Recorded:
    """One recorded note, and the index of the written note it plays (None: none)."""

    pitch: int
    velocity: int
    onset_s: float
    length_s: float
    written: int | None


@dataclass(frozen=True)
class Piece:
    """A piece of one metre, with its bars' onsets in quarters."""

    name: str
    metre: str
    beat: Fraction
    """Quarters in a musical beat."""
    bars: tuple[Fraction, ...]
    """Onsets of the complete bars."""
    notes: tuple[Written, ...]
    recording: tuple[Recorded, ...] = ()


def pieces(*, reductions: bool = True) -> Iterator[Piece]:
    """Every piece that the installed packages have; a missing one is passed over."""
    recorded = recorded_piece()
    if recorded is not None:
        yield recorded
    for name in PIANO_SCORES + (KEYBOARD_REDUCTIONS if reductions else ()):
        piece = corpus_piece(name)
        if piece is not None:
            yield piece


def corpus_piece(name: str) -> Piece | None:
    """A score of music21's corpus up to its first change of metre."""
    from music21 import converter

    path = corpus() / name
    if not path.exists():
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        stream = converter.parse(path, forceSource=True, storePickle=False)
    parts: list[Any] = list(stream.recurse().parts)
    signatures = list(parts[0].recurse().getElementsByClass("TimeSignature"))
    changes = [s.getOffsetInHierarchy(parts[0]) for s in signatures]
    end = next((Fraction(c) for c in changes if c > 0), Fraction(10**6))
    upper = (len(parts) + 1) // 2
    notes: set[Written] = set()
    for index, part in enumerate(parts):
        notes.update(_part_notes(part, 1 if index < upper else 2, end))
    bars = tuple(
        Fraction(m.offset).limit_denominator(96)
        for m in parts[0].getElementsByClass("Measure")
        if m.paddingLeft == 0 and m.offset + m.barDuration.quarterLength <= end
    )
    beat = Fraction(signatures[0].beatDuration.quarterLength)
    ordered = sorted(notes, key=lambda n: (n.onset, not n.grace, n.pitch))
    return Piece(name, signatures[0].ratioString, beat, bars, _one_a_key(ordered))


def _part_notes(part: Any, staff: int, end: Fraction) -> Iterator[Written]:
    """Notes with ties merged: a tied-on note lengthens the one of its pitch that ends there."""
    open_ties: dict[tuple[int, Fraction], Written] = {}
    found: list[Written] = []
    for element in part.recurse().notes:
        onset = Fraction(element.getOffsetInHierarchy(part)).limit_denominator(96)
        if onset >= end or "ChordSymbol" in element.classes:
            continue
        length = Fraction(element.quarterLength).limit_denominator(96)
        for note in element.notes if element.isChord else (element,):
            if getattr(note, "pitch", None) is None:
                continue
            pitch, tie = int(note.pitch.midi), note.tie
            before = open_ties.pop((pitch, onset), None) if tie and tie.type != "start" else None
            if before is not None:
                found.remove(before)
                made = Written(pitch, before.onset, before.length + length, staff)
            else:
                made = Written(pitch, onset, length, staff, bool(element.duration.isGrace))
            found.append(made)
            if tie and tie.type != "stop":
                open_ties[pitch, onset + length] = made
    yield from found


def _one_a_key(ordered: list[Written]) -> tuple[Written, ...]:
    """One note where two hands or voices write the same key at one onset."""
    kept: dict[tuple[Fraction, int], Written] = {}
    for note in ordered:
        key = (note.onset, note.pitch)
        if key not in kept or (kept[key].grace and not note.grace):
            kept[key] = note
    return tuple(sorted(kept.values(), key=lambda n: (n.onset, not n.grace, n.pitch)))


def recorded_piece() -> Piece | None:
    """The aligned performance that parangonar ships, or None where it is not installed."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            import parangonar
            import partitura
            from partitura import score as pt

            performance, alignment, score = partitura.load_match(
                parangonar.EXAMPLE, create_score=True
            )
            for own in performance:
                own.sustain_pedal_threshold = _NO_PEDAL
            part = score[0]
            table = part.note_array(include_staff=True, include_grace_notes=True)
            played = performance.note_array()
            signature = next(iter(part.iter_all(pt.TimeSignature)))
            bars = [
                Fraction(float(part.quarter_map(m.start.t))).limit_denominator(96)
                for m in part.iter_all(pt.Measure)
            ]
    except ImportError:
        return None
    rows = sorted(table, key=lambda r: (r["onset_quarter"], not r["is_grace"], r["pitch"]))
    notes = tuple(_row(row) for row in rows)
    where = {str(row["id"]): i for i, row in enumerate(rows)}
    of = {a["performance_id"]: where[a["score_id"]] for a in alignment if a["label"] == "match"}
    recording = tuple(
        Recorded(
            int(n["pitch"]), int(n["velocity"]), float(n["onset_sec"]), float(n["duration_sec"]),
            of.get(str(n["id"])),
        )
        for n in sorted(played, key=lambda n: float(n["onset_sec"]))
    )  # fmt: skip
    metre = f"{signature.beats}/{signature.beat_type}"
    return Piece("parangonar", metre, Fraction(1), tuple(bars), notes, recording)


def _row(row: Any) -> Written:
    def exact(value: Any) -> Fraction:
        return Fraction(float(value)).limit_denominator(96)

    staff = 1 if int(row["staff"]) == 1 else 2
    length = exact(row["duration_quarter"])
    return Written(
        int(row["pitch"]), exact(row["onset_quarter"]), length, staff, bool(row["is_grace"])
    )
