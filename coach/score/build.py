"""A score from a plain list of notes, without a file: for programs, tests and benchmarks."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Any

from coach.score.metre import Metre
from coach.score.model import Bar, Grace, Hand, NoteMark, Score, ScoreNote, TempoMark
from coach.score.pitch import Spelling

_GRID = 10080
"""Denominators up to this are kept exact when positions come as floats (9, 7, 5 x 32)."""


def exact(value: Fraction | float | int | str) -> Fraction:
    """A position as an exact fraction; a float is taken as the nearest musical one."""
    if isinstance(value, float):
        return Fraction(value).limit_denominator(_GRID)
    return Fraction(value)


def score_from_notes(
    notes: Iterable[Mapping[str, Any]],
    *,
    metre: str = "4/4",
    key_fifths: int = 0,
    qpm: float = 100.0,
    pickup_quarters: Fraction | float = 0,
    first_bar_number: int = 1,
    title: str = "",
) -> Score:
    """Build a score of equal bars from notes given as mappings.

    Each note has ``pitch`` (MIDI key), ``onset`` and ``length`` in quarters from the first note's
    bar (the pickup bar starts at 0), and ``hand`` ("RH" or "LH"); optional are ``id``, ``staff``,
    ``voice``, ``fingering`` (a string or several), ``grace`` (true: a small note of length 0
    before its main note) and ``marks`` (names of :class:`~coach.score.model.NoteMark`).
    """
    upper, lower = metre.split("/")
    groups = tuple(int(part) for part in upper.split("+"))
    signature = Metre(sum(groups), int(lower), groups if len(groups) > 1 else ())
    built = sorted(
        (_note(i, note, key_fifths) for i, note in enumerate(notes)),
        key=lambda n: (n.onset_quarters, n.grace is None, n.pitch),
    )
    end = max(
        (max(n.end_quarters, n.onset_quarters + Fraction(1, 64)) for n in built),
        default=Fraction(1),
    )
    bars = _bars(signature, key_fifths, exact(pickup_quarters), first_bar_number, end)
    onsets = [bar.onset_quarters for bar in bars]
    placed = tuple(_in_bar(note, onsets) for note in built)
    return Score(title, bars, placed, tempos=(TempoMark(Fraction(0), float(qpm)),))


def _note(index: int, given: Mapping[str, Any], key_fifths: int) -> ScoreNote:
    pitch = int(given["pitch"])
    hand = Hand(given["hand"])
    grace = given.get("grace")
    fingering = given.get("fingering", ())
    return ScoreNote(
        id=str(given.get("id", f"n{index}")),
        pitch=pitch,
        spelling=Spelling.of(pitch, key_fifths),
        onset_quarters=exact(given["onset"]),
        length_quarters=Fraction(0) if grace else exact(given["length"]),
        staff=int(given.get("staff", 1 if hand is Hand.RIGHT else 2)),
        hand=hand,
        voice=str(given.get("voice", "1" if hand is Hand.RIGHT else "5")),
        fingering=(fingering,) if isinstance(fingering, str) else tuple(map(str, fingering)),
        grace=(Grace(grace) if isinstance(grace, str) else Grace.BEFORE) if grace else None,
        marks=frozenset(NoteMark(mark) for mark in given.get("marks", ())),
    )


def _bars(
    metre: Metre, key_fifths: int, pickup: Fraction, number: int, end: Fraction
) -> tuple[Bar, ...]:
    bars: list[Bar] = []
    onset = Fraction(0)
    if pickup > 0:
        lead = metre.bar_quarters - pickup
        bars.append(Bar(0, str(number - 1), onset, pickup, metre, key_fifths, lead))
        onset = pickup
    while onset < end or not bars:
        bars.append(Bar(len(bars), str(number), onset, metre.bar_quarters, metre, key_fifths))
        onset += metre.bar_quarters
        number += 1
    return tuple(bars)


def _in_bar(note: ScoreNote, bar_onsets: list[Fraction]) -> ScoreNote:
    return replace(note, bar_index=max(bisect_right(bar_onsets, note.onset_quarters) - 1, 0))
