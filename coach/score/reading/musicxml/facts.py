"""What the walk over a MusicXML part finds, before bars have a place in the piece.

Positions (``at``) and lengths are exact quarters from the start of the bar whose index stands
beside them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from coach.score.metre import Metre
from coach.score.model import Barline, Grace, NoteMark
from coach.score.pitch import Spelling


@dataclass(slots=True)
class RawNote:
    """One note as written, before ties are merged."""

    bar: int
    order: int
    """Its place in the bar as the file lists it."""
    at: Fraction
    length: Fraction
    """0 for a grace note."""
    spelling: Spelling
    """Of the sounding pitch."""
    staff: int
    voice: str
    chord: int
    """Notes of one chord share this number within the part."""
    grace: Grace | None = None
    grace_quarters: Fraction = Fraction(0)
    """The value that a grace note is printed with."""
    tie_start: bool = False
    tie_stop: bool = False
    octave_shift: int = 0
    marks: set[NoteMark] = field(default_factory=set)
    fingering: tuple[str, ...] = ()
    roll: str = ""
    """The number that the file gives its arpeggio: one over two staves has the same on both."""
    strokes: int = 0
    """Of a tremolo, through the stem or on to the next note."""
    has_printed_sign: bool = False
    beams_to_next: int | None = None
    """So many beams lead on to the next stem; None where the file says nothing of beams here."""
    slurs: list[tuple[str, str]] = field(default_factory=list)
    """(number, "start" or "stop") of the slurs that begin or end here."""


@dataclass(frozen=True, slots=True)
class RestAt:
    """A rest that the page shows."""

    bar: int
    at: Fraction
    staff: int
    voice: str
    length: Fraction


@dataclass(slots=True)
class RawBar:
    """One bar of one part."""

    number: str
    implicit: bool
    furthest: Fraction = Fraction(0)
    """The furthest position that any voice reaches."""
    metres: dict[int, Metre | None] = field(default_factory=dict)
    """New time signatures by staff (0: all staves); None is a bar without metre."""
    late_metres: dict[int, Metre | None] = field(default_factory=dict)
    """Time signatures that stand inside or at the end of the bar: they count from the next."""
    fifths: int | None = None
    late_fifths: int | None = None
    barline_before: Barline | None = None
    """As printed at its left, where the file says so; it closes the bar before."""
    barline: Barline | None = None
    """As printed at its right."""
    repeat_start: bool = False
    repeat_end: bool = False
    passes: int = 0
    """How often the repeat that ends here is played in all, where the sign says so."""
    ending_start: str = ""
    ending_stop: bool = False
    section: str = ""


@dataclass(frozen=True, slots=True)
class ClefAt:
    """A clef as the file has it."""

    bar: int
    at: Fraction
    staff: int
    sign: str
    line: int
    octave: int


@dataclass(frozen=True, slots=True)
class WordsAt:
    """Words or a dynamic."""

    bar: int
    at: Fraction
    staff: int
    text: str
    voice: str = ""
    is_dynamic: bool = False


@dataclass(frozen=True, slots=True)
class TempoAt:
    """A tempo mark; ``qpm`` is None where the file has only words, or a change of beat unit."""

    bar: int
    at: Fraction
    qpm: float | None
    words: str
    is_printed: bool
    """A metronome mark on the page, not only a tempo for playback."""
    ratio: Fraction | None = None
    """For "old note = new note": the factor to the tempo before it."""


@dataclass(frozen=True, slots=True)
class LineAt:
    """The start or the stop of a line over or under a staff."""

    bar: int
    at: Fraction
    staff: int
    kind: str
    """"octave", "bracket", "dashes", "wedge" or "pedal"."""
    is_start: bool
    number: str
    octaves: int = 0
    """For an octave line: octaves from the sounding to the written pitch (8va: -1)."""
    grows: bool = False
    """For a wedge: whether it is a crescendo."""


@dataclass
class PartFacts:
    """Everything that one part says."""

    bars: list[RawBar] = field(default_factory=list)
    notes: list[RawNote] = field(default_factory=list)
    clefs: list[ClefAt] = field(default_factory=list)
    words: list[WordsAt] = field(default_factory=list)
    tempos: list[TempoAt] = field(default_factory=list)
    lines: list[LineAt] = field(default_factory=list)
    rests: list[RestAt] = field(default_factory=list)
    staves: int = 1
    hidden_staves: set[int] = field(default_factory=set)
    """Staves that the file never shows."""
    ossia_staves: set[int] = field(default_factory=set)
    """Staves of other versions."""
    hidden_notes: int = 0
    unpitched_notes: int = 0
    repairs: dict[str, list[str]] = field(default_factory=dict)
    """What was put right, and the printed numbers of the bars in which."""
