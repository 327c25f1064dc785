"""How much timing may be off before it counts: every figure with its reason.

Conventions
-----------
Milliseconds (``_ms``) or shares of the time between onsets or of the tempo (``_share``).
"Usual" is the default; *strict* and *lenient* scale the figures of taste by :data:`_SCALES`, and
none ever falls below what a listener can hear (:func:`~coach.judging.tolerance.jnd95_ms`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

# What listeners can hear of time: published figures, as functions of the time between onsets.
#
# Conventions
# -----------
# ``ioi_ms`` is the time from one onset to the next (inter-onset interval), in milliseconds.
# Results are milliseconds.


MAD_OF_SD = 0.6745
"""The middle distance from the middle of a normal distribution, in standard deviations (Iglewicz &
Hoaglin 1993)."""
EVENNESS_CV = 0.07
"""Standard deviation of the times between a professional's scale notes, as a share of their mean:
8.1 ms up and 8.9 ms down at 125 ms (Jabusch 2006; 13 pianists, sixteenths at 120)."""


_JND95_MS, _JND95_SHARE = 6.0, 0.025
"""Milliseconds in quick rows, and a share of the time between onsets in slow ones (Friberg &
Sundberg 1995)."""
_JND92_MS, _JND92_SHARE, _JND_CORNER_MS = 10.0, 0.05, 240.0
"""The same in 1992, and the time between onsets at which one follows on the other."""


def jnd95_ms(ioi_ms: float) -> float:
    """The smallest displacement of one tone in an even row that is heard.

    6 ms up to 240 ms between onsets, 2.5 % above (Friberg & Sundberg 1995, JASA 98, 2524-2531;
    30 listeners). No tolerance of this program lies below it.
    """
    return max(_JND95_MS, _JND95_SHARE * ioi_ms)


def jnd92_ms(ioi_ms: float) -> float:
    """The older, laxer figure of the same: about 10 ms below 240 ms, about 5 % above.

    Friberg & Sundberg 1992, STL-QPSR 33(4), 97-108. At 240 ms the two branches give 10 and
    12 ms; the step is kept as published.
    """
    return _JND92_MS if ioi_ms < _JND_CORNER_MS else _JND92_SHARE * ioi_ms


class Strictness(StrEnum):
    """How exacting the judgement of timing is."""

    STRICT = "strict"
    USUAL = "usual"
    LENIENT = "lenient"


_SCALES = {Strictness.STRICT: 0.75, Strictness.USUAL: 1.0, Strictness.LENIENT: 1.4}
"""What figures of taste are multiplied by: own choice, so that each step is about as large (a
third) and the strict floor of lateness, 37.5 ms, still lies above an amateur's own scatter."""
_LONGEST_STACCATO_SHARE = 0.95
"""Held for more, a staccato note is not short however lenient one is (own choice: what is left is
no more than a legato player leaves between two notes)."""
_HESITATION_JNDS = 2
"""A hesitation is at least so many times the laxer just noticeable difference: own choice, since
what is only just heard is no hesitation."""


@dataclass(frozen=True, slots=True)
class Tolerance:
    """The figures that timing is held to."""

    late_floor_ms: float = 50.0
    """Never call an onset late for less. The onset window of note tracking evaluations (MIREX,
    +-50 ms, as mir_eval has it), and twice what amateurs' tapping scatters."""
    late_share: float = 0.10
    """Nor for less than this share of the time between onsets: twice the laxer audible share
    (Friberg & Sundberg 1992). A window that grows with the interval, because the scatter of
    expressive playing does (Repp 1997, Percept. Psychophys. 59, 530-541)."""
    pause_ms: float = 250.0
    """A hesitation, where nothing is known of the player's earlier repetitions: a design choice,
    five times the floor, since no published figure parts hesitation from expression. At 180 ms
    practice-room timing gave three times as many false ones and not one true one more (planted
    ones are 350 ms and longer; ``scripts/bench_ear.py``)."""
    known_pause_ms: float = 180.0
    """The same where the player's tempo and scatter are known from before: over three times the
    floor."""
    pause_share: float = 0.30
    """...and this share of the interval that it lengthens, where the repetition is too short to
    show how freely it is played: a little above the quarter that an even player is held to. At .40
    another 13 of 1,750 planted hesitations were passed over, and 4 fewer of 3,500 repetitions with
    practice-room timing accused; untouched playing showed no difference."""
    pause_scatters: float = 4.0
    """...and, where it is long enough, this many times the scatter of its own intervals: the
    z limit of 3.5 (Iglewicz & Hoaglin 1993) and a margin, since one repetition estimates it."""
    pause_least_share: float = 0.25
    pause_most_share: float = 0.60
    """The bounds of that: an even player is not held to less than a quarter of the interval, the
    freest is still asked for anything beyond three fifths."""
    ending_factor: float = 1.5
    """How much more is allowed after a long note or a slur, where lengthening is expected and
    heard less (Repp 1998, JEP:HPP 24, 791-811)."""
    apart_ms: float = 120.0
    """Hands this far apart are two events: the melody's usual lead is 30 ms (Goebl 2001), order
    is certain beyond 60 ms, and twice that leaves expressive spreading alone."""
    apart_share: float = 0.13
    """...or this share of the beat: expressive parting grows as the music slows. Not where the
    hands of this repetition keep together so well that one parting stands out by the z limit."""
    spread_ms: float = 60.0
    """A chord spread by more is worth a notice, no fault: within 50 ms its notes are one
    stroke (MIREX window; Goebl & Parncutt 2002 tested pairs up to 54 ms)."""
    uneven_ratio: float = 1.5
    """Long against short in a row that is written even, on average over a stretch of it: half-way
    (by eye) between even and the 2:1 of a triplet. Expressive inequality stays below."""
    uneven_ms: float = 25.0
    """...and the least displacement that it makes: four times the JND at fast tempos, three times
    a professional's scatter of 8 ms (Jabusch 2006)."""
    ragged_cv: float = 0.60
    """Scatter of a row that is written even, as a share of its mean interval: eight times a
    professional's 7 % (Jabusch 2006), beyond a beginner's 25 ms in the fastest sixteenths."""
    drift_ratio: float = 1.35
    """Tempo at the end against the start (or the start against the end), when it changes evenly:
    five tempo JNDs of 2.5 % a beat over two beats. Slowing counts only where a pulse is asked
    for: an even rallentando is told and forgiven before that."""
    even_drift_ratio: float = 1.28
    """The same of a player who is even enough that the change is plain: by eye half-way between
    1.2, two standard deviations of what expression makes, and the figure above."""
    click_ms: float = 50.0
    """Error against the click once the constant offset is out: the MIREX onset window, about
    2 SD of untrained tapping at 500 ms (Repp 2005)."""
    click_share: float = 0.08
    """...or this share of the beat where that is more (4 to 6 % SD in the untrained, Repp 2005,
    from memory)."""
    slow_share: float = 0.08
    """How far below the tempo asked for still counts as it: 8 %, mir_eval's tempo tolerance."""
    fast_share: float = 0.12
    """How far above: half as much again, since too fast is the lesser proof of weakness."""
    release_share: float = 0.35
    """A key held for less than this share of the time to the hand's next one may be let go early,
    where the player's other holds say so: more than that is a way to play detached (common
    practice: staccato is half of the length)."""
    gap_share: float = 0.30
    """Silence before the next note, as a share of the note, that breaks a slur (common practice:
    portato already is a break of a quarter)."""
    staccato_share: float = 0.80
    """A staccato note held for more is not short (common practice: half its length)."""
    left_louder: float = 12.0
    """Mean MIDI velocity of the left hand over the right's that is told as a notice: beyond the
    spread of 9 or so that a pianist's single notes have."""
    z_limit: float = 3.5
    """Modified z score against this onset's own history (Iglewicz & Hoaglin 1993)."""

    @classmethod
    def of(cls, strictness: Strictness) -> Tolerance:
        """The figures for a strictness; floors and figures of other people's stay as they are."""
        scale, usual = _SCALES[strictness], cls()
        scaled = {name: getattr(usual, name) * scale for name in _OF_TASTE}
        beyond_even = {name: 1 + (getattr(usual, name) - 1) * scale for name in _RATIOS_OF_TASTE}
        return replace(
            usual,
            **scaled,
            **beyond_even,
            release_share=usual.release_share / scale,
            staccato_share=min(usual.staccato_share * scale, _LONGEST_STACCATO_SHARE),
        )

    def late_ms(self, ioi_ms: float) -> float:
        """The least error that counts as late or early after an interval, in ms."""
        audible = jnd95_ms(ioi_ms)
        return max(self.late_floor_ms, self.late_share * ioi_ms, audible)

    def hesitation_ms(
        self, ioi_ms: float, scatter: float | None, *, ending: bool, known: bool = False
    ) -> float:
        """The least excess of an interval that counts as hesitation without a history, in ms.

        ``scatter`` is the spread of the repetition's intervals as a share of them, None where it
        has too few; ``ending`` is true where lengthening is expected, ``known`` where the player
        was heard before.
        """
        share = self.pause_share
        if scatter is not None:
            share = max(self.pause_least_share, self.pause_scatters * scatter)
            share = min(share, self.pause_most_share)
        if ending:
            share *= self.ending_factor
        least_ms = self.known_pause_ms if known else self.pause_ms
        return max(least_ms, share * ioi_ms, _HESITATION_JNDS * jnd92_ms(ioi_ms))

    def hands_apart_ms(self, beat_ms: float) -> float:
        """The least distance between the hands that counts, in ms."""
        return max(self.hands_apart_least_ms(beat_ms), self.apart_share * beat_ms)

    def hands_apart_least_ms(self, beat_ms: float) -> float:
        """The same where the hands keep together but for this once, whatever the tempo, in ms."""
        return max(self.apart_ms, jnd95_ms(beat_ms))

    def against_click_ms(self, beat_ms: float) -> float:
        """The least error against the click that counts, in ms."""
        return max(self.click_ms, self.click_share * beat_ms, jnd95_ms(beat_ms))


_OF_TASTE = (
    "late_floor_ms",
    "late_share",
    "pause_ms",
    "known_pause_ms",
    "pause_share",
    "pause_scatters",
    "pause_least_share",
    "pause_most_share",
    "apart_ms",
    "apart_share",
    "uneven_ms",
    "ragged_cv",
    "click_ms",
    "click_share",
    "slow_share",
    "fast_share",
    "gap_share",
    "left_louder",
)
"""Figures that a strictness multiplies. The others are published, or no matter of taste."""
_RATIOS_OF_TASTE = ("uneven_ratio", "drift_ratio", "even_drift_ratio")
"""Ratios of which a strictness multiplies what lies beyond even, 1 to 1."""

USUAL = Tolerance()
"""The figures that apply unless others are chosen."""
