"""Beams and tuplet digits: which stems are joined.

The model keeps no beams from the file, so notes are beamed by beat (common practice): a beam
joins the flagged notes of one voice that follow each other without a rest inside one beat.
Metres that are counted undivided (5/8, 7/8) are beamed by their printed groups, or in twos with
the three at the end of 5 and 7.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from fractions import Fraction

from coach.score.metre import Metre
from coach.score.model import Bar, Score
from coach.screens.staff.values import value_of
from coach.screens.staff.written import Stem


@dataclass(frozen=True, slots=True)
class BeamGroup:
    """Stems that one beam joins; a single stem has flags instead."""

    stems: tuple[Stem, ...]
    digit: str = ""
    """The tuplet's digit, "" where there is none."""


def beam_groups(score: Score, stems: tuple[Stem, ...]) -> tuple[BeamGroup, ...]:
    """All stems that have flags, joined where a beam joins them; and unbeamed tuplets."""
    voices: dict[tuple[int, str], list[Stem]] = defaultdict(list)
    for stem in stems:
        voices[stem.staff, stem.voice].append(stem)
    out: list[BeamGroup] = []
    for voice in voices.values():
        out += _voice_groups(score, voice)
    return tuple(out)


def _voice_groups(score: Score, voice: list[Stem]) -> list[BeamGroup]:
    groups: list[list[Stem]] = []
    for stem in voice:
        if groups and _belongs(score, groups[-1], stem):
            groups[-1].append(stem)
        elif stem.value.flags or stem.value.tuplet:
            groups.append([stem])
    return [BeamGroup(tuple(group), _digit(group)) for group in groups]


def _belongs(score: Score, group: list[Stem], stem: Stem) -> bool:
    """Whether a stem goes on this group."""
    last = group[-1]
    if last.end_quarters != stem.onset_quarters:
        return False
    if last.value.flags and stem.value.flags:
        return _beat_key(score, last.onset_quarters) == _beat_key(score, stem.onset_quarters)
    if last.value.tuplet is None or last.value.tuplet != stem.value.tuplet:
        return False
    # Unbeamed tuplets run over beats: one ends where its notes fill a plain value.
    whole = value_of(last.end_quarters - group[0].onset_quarters)
    return whole is None or whole.tuplet is not None


def _beat_key(score: Score, onset: Fraction) -> tuple[int, int]:
    bar = score.bar_at(onset)
    inside = onset - bar.onset_quarters + bar.lead_quarters
    return bar.index, _group_of(bar, inside)


def _group_of(bar: Bar, inside: Fraction) -> int:
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


def _digit(group: list[Stem]) -> str:
    tuplet = group[0].value.tuplet
    if tuplet is None or any(stem.value.tuplet != tuplet for stem in group):
        return ""
    even = len({stem.value for stem in group}) == 1
    # Six even notes on one beam are a sextuplet, though written at a triplet's ratio.
    many = len(group) if even and len(group) > tuplet[0] and len(group) % tuplet[0] == 0 else 0
    return str(many or tuplet[0])
