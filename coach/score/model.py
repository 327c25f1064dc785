"""The score: what is written, exactly.

Conventions
-----------
- Positions and lengths are in quarter notes (``_quarters``), exact :class:`~fractions.Fraction`,
  counted from the start of the piece's first bar (a pickup bar starts at 0).
- ``pitch`` is the *sounding* MIDI key; octave lines and transposition are already applied.
- Tied notes are one :class:`ScoreNote`; its ``segments_quarters`` are the written pieces.
- A grace note has length 0 and stands at the onset of the note it belongs to.
- A bar is addressed by its index (0 for the first); its printed number is only for people.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, field, replace
from enum import StrEnum
from fractions import Fraction
from functools import cached_property

from coach.score.metre import COMMON_TIME, Metre
from coach.score.pitch import Spelling
from coach.score.words import bar_words, count_of_beat, name_in_bar, time_words

# Where an onset lies, in words for people: bar and beat.


@dataclass(frozen=True, slots=True)
class Place:
    """Where an onset lies, for people: bar and beat (beat 1 is the downbeat)."""

    bar_index: int
    bar_number: str
    beat: Fraction
    """The metre's beat: a dotted quarter in 6/8, and the whole bar in 3/8."""
    is_pickup: bool = False
    metre: Metre = COMMON_TIME
    time: int = 0
    """As :attr:`Bar.time`."""

    @property
    def bar(self) -> str:
        """The bar in words, as :attr:`Bar.words`."""
        return bar_words(self.bar_number, self.is_pickup, self.time)

    @property
    def counted(self) -> Fraction:
        """The beat as players count it: 3/8 has three."""
        return count_of_beat(self.beat, self.metre)

    @property
    def in_bar(self) -> str:
        """``beat 2``, ``the & of 3``."""
        return name_in_bar(self.beat, self.metre)

    @property
    def on_beat(self) -> bool:
        """Whether it lies on a counted beat and not between two."""
        return self.counted.denominator == 1

    def __str__(self) -> str:
        return f"{self.bar}, {self.in_bar}"


# What is printed besides notes and bars, and what the reading had to change, as plain facts.
#
# What is written at a note besides pitch and length: articulation, ornaments, small notes.


@dataclass(frozen=True, slots=True)
class Clef:
    """A clef from an onset on."""

    staff: int
    onset_quarters: Fraction
    sign: str
    """G, F or C."""
    line: int
    octave: int = 0
    """Octaves that the clef adds to the written pitch (a small 8 above: 1)."""


@dataclass(frozen=True, slots=True)
class TempoMark:
    """A tempo from an onset on, in quarter notes a minute."""

    onset_quarters: Fraction
    qpm: float
    words: str = ""
    is_guess: bool = False
    """True where only words are printed, or nothing."""


@dataclass(frozen=True, slots=True)
class Direction:
    """A word or a dynamic printed at an onset."""

    onset_quarters: Fraction
    staff: int
    text: str
    ends_bar: bool = False
    """It stands at the end of a bar, and not at the beginning of the next."""


class LineKind(StrEnum):
    """What a line over or under a staff means."""

    CRESCENDO = "crescendo"
    DIMINUENDO = "diminuendo"
    PEDAL = "pedal"
    """The damper pedal is down."""


@dataclass(frozen=True, slots=True)
class PrintedLine:
    """A hairpin or a pedal mark, from one onset up to another."""

    kind: LineKind
    staff: int
    start_quarters: Fraction
    end_quarters: Fraction


@dataclass(frozen=True, slots=True)
class OwnNote:
    """What the pianist or the teacher wrote on a passage."""

    start_quarters: Fraction
    end_quarters: Fraction
    bars: str
    """``bars 5 to 8``."""
    words: str


@dataclass(frozen=True, slots=True)
class PrintedRest:
    """A rest of one voice, as printed."""

    staff: int
    voice: str
    onset_quarters: Fraction
    length_quarters: Fraction


@dataclass(frozen=True, slots=True)
class Remark:
    """What was repaired, left out or guessed while reading, in one sentence."""

    kind: str
    """"repaired", "left out", "guess" or "note"."""
    text: str


class Grace(StrEnum):
    """How a small note is played: before the beat or after its main note (a trill's ending)."""

    BEFORE = "before"
    AFTER = "after"


class NoteMark(StrEnum):
    """What is written at a note besides pitch and length."""

    STACCATO = "staccato"
    STACCATISSIMO = "staccatissimo"
    TENUTO = "tenuto"
    ACCENT = "accent"
    MARCATO = "marcato"
    FERMATA = "fermata"
    SLUR_START = "slur start"
    SLUR_END = "slur end"
    UNDER_SLUR = "under slur"
    ARPEGGIO = "arpeggio"
    ROLLED_ACROSS = "rolled across"
    """One arpeggio goes through the notes of both staves."""
    TRILL = "trill"
    MORDENT = "mordent"
    TURN = "turn"
    TREMOLO = "tremolo"
    TREMOLO_TO_NEXT = "tremolo to next"
    """It is one between this note and the next, and each is printed with the length of both."""
    GLISSANDO = "glissando"
    SLASH = "slash"
    """Through the stem of a grace note: it is played short."""
    SMALL_PRINT = "small print"
    """Printed small, with a length of its own: a cadenza, an ad libitum, a written-out ornament."""


INSTANT_QUARTERS = Fraction(1, 1 << 30)
"""No two onsets of a score lie so near (the finest MIDI grid has 32,767 to a quarter)."""


FREE_MARKS = frozenset(
    {NoteMark.TRILL, NoteMark.MORDENT, NoteMark.TURN, NoteMark.TREMOLO, NoteMark.GLISSANDO}
)
"""Ornaments that are played freely: more notes than are written may sound, and be right."""


class Hand(StrEnum):
    """One hand."""

    RIGHT = "RH"
    LEFT = "LH"

    @property
    def other(self) -> Hand:
        """The other one."""
        return Hand.LEFT if self is Hand.RIGHT else Hand.RIGHT


class Hands(StrEnum):
    """Which hands play: one, or both together."""

    RIGHT = "RH"
    LEFT = "LH"
    TOGETHER = "both"

    @property
    def members(self) -> frozenset[Hand]:
        """The single hands in it."""
        return _MEMBERS[self]

    def __contains__(self, hand: object) -> bool:
        return hand in _MEMBERS[self]


_MEMBERS = {
    Hands.RIGHT: frozenset({Hand.RIGHT}),
    Hands.LEFT: frozenset({Hand.LEFT}),
    Hands.TOGETHER: frozenset({Hand.RIGHT, Hand.LEFT}),
}


@dataclass(frozen=True, slots=True)
class ScoreNote:
    """One written note, ties merged."""

    id: str
    """Unique within the score, stable from one opening to the next."""
    pitch: int
    spelling: Spelling
    """Spelling of the sounding pitch."""
    onset_quarters: Fraction
    length_quarters: Fraction
    """Sounding length after ties; 0 for a grace note."""
    staff: int
    """1 is the top staff."""
    hand: Hand
    voice: str = "1"
    bar_index: int = 0
    fingering: tuple[str, ...] = ()
    """As printed, one entry for each finger (a change of finger has two)."""
    grace: Grace | None = None
    grace_quarters: Fraction = Fraction(0)
    """The value that a grace note is printed with; 0 where nobody says."""
    marks: frozenset[NoteMark] = frozenset()
    segments_quarters: tuple[Fraction, ...] = ()
    """Written lengths that ties join; empty means one, of the whole length."""
    has_printed_sign: bool = False
    """The page has an accidental at it, whether it is needed or a reminder."""
    beams_to_next: tuple[int, ...] = ()
    """For each written length how many beams lead on from its stem to the next one of its voice:
    0 for a flag, and where a beam ends. Empty where nobody says."""
    octave_shift: int = 0
    """Octaves to add to the sounding octave to get where it is written (an 8va line: -1)."""
    hand_is_guess: bool = False
    strokes: int = 0
    """Of a tremolo, through its stem or on to the next note; 0 where there are none, or nobody
    says."""

    @property
    def end_quarters(self) -> Fraction:
        """Where the note's written length ends."""
        return self.onset_quarters + self.length_quarters

    @property
    def is_ornament(self) -> bool:
        """An ornament whose notes and timing are the player's own."""
        return bool(self.marks & FREE_MARKS)

    @property
    def is_free(self) -> bool:
        """An ornament, or small print: the timing is the player's own."""
        return self.is_ornament or self.is_small_print

    @property
    def is_small_print(self) -> bool:
        """Printed small: played in its own time, and no fault where it is left out."""
        return NoteMark.SMALL_PRINT in self.marks


class Barline(StrEnum):
    """How a bar is closed on the page, apart from repeat signs."""

    SINGLE = "single"
    DOUBLE = "double"
    """A section ends."""
    FINAL = "final"
    DASHED = "dashed"
    DOTTED = "dotted"
    HEAVY = "heavy"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar as written."""

    index: int
    number: str
    """As printed: "0" or "" for a pickup; duplicates and "X1" occur."""
    onset_quarters: Fraction
    length_quarters: Fraction
    """Its real length: shorter for a pickup, longer for a cadenza."""
    metre: Metre
    key_fifths: int = 0
    lead_quarters: Fraction = Fraction(0)
    """Where in its metre the bar begins: 0, but for a pickup the part that is left out."""
    repeat_start: bool = False
    repeat_end: bool = False
    passes: int = 0
    """How often its repeat is played in all, where the sign says so; else 0."""
    ending: str = ""
    """Which passes play it, as printed: "1", "2", "1, 2"; empty outside endings."""
    section: str = ""
    """A rehearsal mark or section name that begins here."""
    time: int = 0
    """In a piece that is played through with its repeats: the first, second ... time that it is
    played; 0 where it is played once, and in a piece as it is written."""
    barline: Barline | None = None
    """The one that closes it, as printed; None for a repeat sign, and where nothing is said."""

    @property
    def end_quarters(self) -> Fraction:
        """Where the next bar begins."""
        return self.onset_quarters + self.length_quarters

    @property
    def is_pickup(self) -> bool:
        """Begins inside its metre, so that beats count from the bar's end."""
        return self.lead_quarters > 0

    @property
    def words(self) -> str:
        """``bar 12``; ``pickup`` for one that has no number of its own; ``bar 8, second time``."""
        return bar_words(self.number, self.is_pickup, self.time)

    def words_to(self, last: Bar) -> str:
        """``bar 3`` where that is all; ``bars 3 to 5``, ``pickup to bar 4``."""
        if self.words == last.words:
            return self.words
        if self.time and self.time == last.time:
            once, till = replace(self, time=0), replace(last, time=0)
            return f"{once.words_to(till)}, {time_words(self.time)}"
        if self.time or last.time:
            return f"{self.words}, to {last.words}"
        if self.words.startswith("bar ") and last.words.startswith("bar "):
            return f"bars {self.number} to {last.number}"
        return f"{self.words} to {last.words}"

    def beats_quarters(self) -> tuple[Fraction, ...]:
        """Onsets of the beats that lie in this bar, in quarters from the piece's start."""
        beat = self.metre.beat_quarters
        first = -(-self.lead_quarters // beat)  # rounded up
        out = []
        onset = self.onset_quarters + first * beat - self.lead_quarters
        while onset < self.end_quarters:
            out.append(onset)
            onset += beat
        return tuple(out) or (self.onset_quarters,)


@dataclass(frozen=True)
class Score:
    """A piece for piano, exactly as written; repeats are not expanded."""

    title: str
    bars: tuple[Bar, ...]
    notes: tuple[ScoreNote, ...]
    """Sorted by onset, grace notes first, then pitch."""
    composer: str = ""
    clefs: tuple[Clef, ...] = ()
    tempos: tuple[TempoMark, ...] = ()
    directions: tuple[Direction, ...] = ()
    lines: tuple[PrintedLine, ...] = ()
    rests: tuple[PrintedRest, ...] = ()
    """As printed; none where the file has no page (MIDI, a list of notes)."""
    remarks: tuple[Remark, ...] = ()
    own_notes: tuple[OwnNote, ...] = ()
    source: str = field(default="", compare=False)
    """Where it came from, for people: a file name; empty for a list of notes."""

    @property
    def end_quarters(self) -> Fraction:
        """Where the last bar ends."""
        return self.bars[-1].end_quarters if self.bars else Fraction(0)

    @cached_property
    def _bar_onsets(self) -> list[Fraction]:
        return [bar.onset_quarters for bar in self.bars]

    @cached_property
    def _note_onsets(self) -> list[Fraction]:
        return [note.onset_quarters for note in self.notes]

    def bar_at(self, onset_quarters: Fraction) -> Bar:
        """The bar in which an onset lies; the first or last bar outside the piece."""
        at = bisect_right(self._bar_onsets, onset_quarters) - 1
        return self.bars[min(max(at, 0), len(self.bars) - 1)]

    def place(self, onset_quarters: Fraction) -> Place:
        """Bar number and beat of an onset; a pickup counts from the end of its bar."""
        bar = self.bar_at(onset_quarters)
        inside = onset_quarters - bar.onset_quarters + bar.lead_quarters
        beat = 1 + inside / bar.metre.beat_quarters
        return Place(bar.index, bar.number, beat, bar.is_pickup, bar.metre, bar.time)

    def bars_of(self, start_quarters: Fraction, end_quarters: Fraction) -> tuple[Bar, Bar]:
        """The first and the last bar of a stretch; a bar that begins at its end is not in it."""
        first = self.bar_at(start_quarters)
        inside = (bar for bar in reversed(self.bars) if bar.onset_quarters < end_quarters)
        return first, next(inside, first)

    def barline_after(self, bar: Bar) -> Barline:
        """What closes a bar on the page: the last one by the final barline, unless said."""
        usual = Barline.FINAL if bar.index == len(self.bars) - 1 else Barline.SINGLE
        return bar.barline or usual

    def own_notes_in(self, start_quarters: Fraction, end_quarters: Fraction) -> list[OwnNote]:
        """What was written on this stretch, or on a part of it."""
        return [
            one
            for one in self.own_notes
            if one.start_quarters < end_quarters and start_quarters < one.end_quarters
        ]

    def notes_between(
        self, start_quarters: Fraction, end_quarters: Fraction, hands: Hands = Hands.TOGETHER
    ) -> tuple[ScoreNote, ...]:
        """Notes of these hands with start <= onset < end, in the score's order."""
        low = bisect_left(self._note_onsets, start_quarters)
        high = bisect_left(self._note_onsets, end_quarters)
        members = hands.members
        return tuple(note for note in self.notes[low:high] if note.hand in members)

    def tempo_at(self, onset_quarters: Fraction) -> float:
        """The piece's own tempo at an onset, in quarters a minute (120 where none is known)."""
        qpm = 120.0
        for mark in self.tempos:
            if mark.onset_quarters <= onset_quarters or mark is self.tempos[0]:
                qpm = mark.qpm
        return qpm
