"""What a repetition was worth, as plain facts.

Conventions
-----------
- Notes are addressed by index: ``note`` into ``excerpt.notes``, ``played`` into the take's notes.
- ``error_ms`` is positive when late. Beats are the metre's beats on the excerpt's grid.
- A mistake belongs to the transition in which its onset is arrived at (``Excerpt.transition_to``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from typing import NamedTuple

from coach.score.model import Hand, Hands
from coach.score.window import Excerpt, Transition


class Stage(StrEnum):
    """What a repetition is judged for; each asks for all that the ones before it ask."""

    NOTES = "notes"
    RHYTHM = "rhythm"
    PULSE = "pulse"
    TEMPO = "tempo"
    SHAPE = "shape"

    @property
    def has_click(self) -> bool:
        """Whether it is played with a click, once there is a tempo."""
        return self in (Stage.PULSE, Stage.TEMPO, Stage.SHAPE)


class Label(StrEnum):
    """What became of a note. Score notes: matched, wrong, missed. Played: all but missed."""

    MATCHED = "matched"
    WRONG = "wrong"
    MISSED = "missed"
    EXTRA = "extra"
    REPEATED = "repeated"


class Family(StrEnum):
    """What kind of fault it is."""

    PITCH = "pitch"
    MISSING = "missing"
    EXTRA = "extra"
    TIMING = "timing"
    REPEAT = "repeat"
    RELEASE = "release"
    TEMPO = "tempo"


class Cause(StrEnum):
    """What was not right, exactly. All else about it stands in ``faults/catalogue.py``.

    The values are stored in the record: a member may be added, but none renamed.
    """

    WRONG_KEY = "wrong key"
    OCTAVE_SLIP = "octave slip"
    SHIFTED_POSITION = "shifted position"
    """The hand lies a few keys too high or too low for several onsets running."""
    CORRECTED_KEY = "corrected key"
    """A wrong key, put right at once."""
    WRONG_ORDER = "wrong order"
    """Two notes of one hand, one after the other, struck the other way round."""
    MISSED_NOTE = "missed note"
    MISSED_IN_CHORD = "missed in chord"
    STRETCH_LEFT_OUT = "stretch left out"
    SKIPPED_BEAT = "skipped beat"
    """A beat or more left out, and the time closed up over it."""
    BRUSHED_KEY = "brushed key"
    """A key too many."""
    STUMBLE = "stumble"
    """The last few notes played again."""
    RESTART = "restart"
    """The window begun again."""
    MISREAD_VALUE = "misread value"
    """A length from onset to onset that is not the written one, and the pulse went on."""
    MISREAD_PACE = "misread pace"
    """A stretch at half or twice the speed of what is around it."""
    EARLY_ENTRY = "early entry"
    LATE_ENTRY = "late entry"
    """One onset out of place, which the next interval made up."""
    HESITATION = "hesitation"
    BARLINE_WAIT = "wait at the barline"
    """A hesitation before one bar, by a player who waits before nearly every one."""
    STOPPED_AGAIN = "stopped again"
    """Broken off before an onset where the player stopped before."""
    ONE_HAND_LATE = "one hand late"
    ONE_HAND_EARLY = "one hand early"
    SPLIT_CHORD = "split chord"
    HANDS_DRIFT = "hands drift"
    HAND_DISPLACED = "hand displaced"
    """One hand came in off its beat, and stayed so."""
    UNEVEN = "uneven"
    WRONG_PROPORTIONS = "wrong proportions"
    """Figures of a kind that were played as others: swung, dotted as a triplet, even."""
    BEHIND_THE_CLICK = "behind the click"
    AHEAD_OF_THE_CLICK = "ahead of the click"
    TEMPO_DRIFT = "tempo drift"
    """Faster and faster."""
    SLOWING_DOWN = "slowing down"
    """Slower and slower, evenly from beginning to end."""
    SLOWER_THAN_ASKED = "slower than asked"
    FASTER_THAN_ASKED = "faster than asked"
    EARLY_RELEASE = "early release"
    BROKEN_SLUR = "broken slur"
    HELD_ON = "held on"
    """A staccato note that was not short."""
    LATE_PEDAL = "late pedal"
    NO_PEDAL = "no pedal"
    PEDAL_NOT_CHANGED = "pedal not changed"
    """Still down over another harmony."""
    NO_CONTRAST = "no contrast"
    """A dynamic that was not heard, against the one before."""
    NO_HAIRPIN = "no hairpin"


class Outcome(StrEnum):
    """What happened in one transition of one hand."""

    CLEAN = "clean"
    WRONG = "wrong"
    """A wrong, missed or extra note."""
    LATE = "late"
    EARLY = "early"
    UNEVEN = "uneven"
    REPEATED = "repeated"
    """A stumble or a restart broke in here."""
    NOT_REACHED = "not reached"


class ScoreLabel(NamedTuple):
    """What became of one score note."""

    note: int
    label: Label
    played: int | None = None
    """The key struck for it; None when missed."""
    error_ms: float | None = None
    """Onset against the repetition's own tempo line, or against the click."""
    error_beats: float | None = None
    reached: bool = True
    """False for notes after the place where the repetition broke off."""


class PlayedLabel(NamedTuple):
    """What one struck key was."""

    played: int
    label: Label
    note: int | None = None
    """The score note meant; None for an extra note."""
    hand: Hand | None = None
    """Which hand struck it, as far as can be told."""


@dataclass(frozen=True, slots=True)
class Matching:
    """Score to playing: every score note once, every played note once, in their orders."""

    score: tuple[ScoreLabel, ...]
    played: tuple[PlayedLabel, ...]
    doubtful: frozenset[int] = frozenset()
    """Score notes of which another reading of the playing, about as good, says something else."""

    @property
    def unsure(self) -> bool:
        """Two readings of the playing are about equally good."""
        return bool(self.doubtful)


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that was not right, with its place."""

    transition: Transition
    """Whose move, and between which beats."""
    onset_quarters: Fraction
    """The very onset at fault, in quarters from the piece's start."""
    family: Family
    weight: float
    """How much it matters, 0 to 1: the order in which faults are told."""
    words: str
    """For the pianist, short: ``C sharp for C``, ``late to beat 2 (0.4 s)``."""
    note: int | None = None
    size_ms: float | None = None
    from_beat: int | None = None
    """Set where a fault spans more than its transition (drift, a shifted position): beats of the
    excerpt's grid; otherwise the transition's own."""
    to_beat: int | None = None
    cause: Cause = field(kw_only=True)
    """Finer than the family."""
    last_quarters: Fraction | None = None
    """The last onset of a fault that spans several, from ``first_quarters`` on."""
    first_quarters: Fraction | None = None
    short_words: tuple[str, ...] = ()
    """Instead of the words where a sentence has no room for them: the fullest first."""
    forgiven: bool = False
    """Told, but not asked for at the present stage: it does not make the repetition unclean."""

    @property
    def hands(self) -> Hands:
        """Whose fault it is: one hand's, or both together."""
        return self.transition.hands

    @property
    def reach(self) -> tuple[Fraction, Fraction]:
        """The first and the last onset that it concerns."""
        first = self.onset_quarters if self.first_quarters is None else self.first_quarters
        return first, first if self.last_quarters is None else self.last_quarters


class LengthHeard(NamedTuple):
    """What one repetition says of a length, for each manner of scattering (an index)."""

    expected_s: float
    """How long it would have been as written, by the rest of the repetition."""
    pulls: tuple[float, ...]
    weights: tuple[float, ...]
    """``pull / weight`` is how much longer it was, in seconds, by least squares; the weight is one
    over the variance of that, in units of the manner's own scatter."""
    told: bool = False
    """Whether it was told as misread then: what was told is likely to be mended."""


@dataclass(frozen=True, slots=True)
class ScatterHeard:
    """How well each manner of scattering foretells what was played."""

    priors: tuple[float, ...] = ()
    """Logarithms, but for the squares."""
    squares: tuple[float, ...] = ()
    """Of what it foretold wrongly, in units of its scatter."""
    count: float = 0
    """How many lengths were foretold."""

    def with_(self, later: ScatterHeard, most: float) -> ScatterHeard:
        """This and what was heard later; of both together so many lengths at the most, so that
        what was heard long ago fades."""
        if not self.count or not later.count:
            return later if later.count else self
        share = min(1.0, most / (self.count + later.count))
        return ScatterHeard(
            tuple(share * (a + b) for a, b in zip(self.priors, later.priors, strict=True)),
            tuple(share * (a + b) for a, b in zip(self.squares, later.squares, strict=True)),
            share * (self.count + later.count),
        )


UNHEARD = ScatterHeard()
"""Of a player who was not heard before."""


@dataclass(frozen=True, slots=True)
class LengthsHeard:
    """What one repetition says of all its lengths: alone it may leave open what several tell."""

    scatter: ScatterHeard = UNHEARD
    lengths: Mapping[tuple[Fraction, Fraction], LengthHeard] = field(default_factory=dict)
    """By the onsets that they reach from and to, in quarters from the piece's start."""


class HeldShare(NamedTuple):
    """For how much of its length the longest key of one hand's onset was held."""

    onset_quarters: Fraction
    hand: Hand
    log_share: float
    """Natural logarithm: half and double are alike."""


@dataclass(frozen=True, slots=True)
class TransitionResult:
    """What happened in one transition of one hand in this repetition."""

    transition: Transition
    outcome: Outcome
    error_ms: float | None = None
    """The largest timing error in it, positive when late."""
    note: int | None = None
    """The first note at fault in it."""


class Instead(StrEnum):
    """What was played where it was no repetition of the window."""

    OCTAVE = "another octave"
    TRANSPOSED = "transposed"
    CLEF = "another clef"
    ONE_HAND = "one hand of two"
    NOT_RIGHT_ALONE = "more or other than the right hand alone"
    NOT_LEFT_ALONE = "more or other than the left hand alone"
    TOO_FAST = "too fast"
    OTHER_NOTES = "other notes"
    OTHER_PLACE = "another place"
    UNCLEAR = "unclear"


@dataclass(frozen=True, slots=True)
class PlayedInstead:
    """Something else than the window was played."""

    what: Instead
    sentence: str
    """What a teacher says to it."""


@dataclass(frozen=True, slots=True)
class Judgement:
    """The verdict on one repetition."""

    excerpt: Excerpt
    stage: Stage
    score: tuple[ScoreLabel, ...]
    played: tuple[PlayedLabel, ...]
    qpm: float | None
    """The tempo found, in quarters a minute; None where too little was played."""
    transitions: tuple[TransitionResult, ...]
    """One for each of ``excerpt.transitions``, in that order."""
    faults: tuple[Fault, ...]
    """The most important first."""
    clean: bool
    complete: bool
    """From the first note to the last."""
    unsure: bool
    sentence: str
    """At most twelve words, the most important thing first."""
    details: tuple[str, ...] = ()
    notices: tuple[str, ...] = ()
    """Worth knowing, not faults: a spread chord, a constant offset against the click."""
    offset_ms: float = 0.0
    """The constant offset against the click that was taken out."""
    lengths: LengthsHeard = field(default_factory=LengthsHeard)
    """What was heard of each length: what comes again at a simple ratio is told."""
    held: tuple[HeldShare, ...] = ()
    """How the keys were held, against which later repetitions are judged."""
    is_repetition: bool = True
    """False where something else was played than the window (another octave, one hand of two):
    ``sentence`` says what, nothing is at fault, and nothing is evidence."""
    instead: Instead | None = None
    """What it was, where it was no repetition; None where it was one, or nobody judged it."""

    @property
    def is_part(self) -> bool:
        """Nothing wrong in it, but not all of the window: broken off, or begun in its middle."""
        return not self.complete and all(fault.forgiven for fault in self.faults)
