"""How much timing may be off before it counts: every figure with its reason.

Conventions
-----------
Milliseconds (``_ms``) or shares of the time between onsets or of the tempo (``_share``).
"Usual" is the default; *strict* and *lenient* scale the figures of taste by :data:`_SCALES`, and
none ever falls below what a listener can hear (:func:`~coach.judging.psychophysics.jnd95_ms`).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from coach.judging.psychophysics import jnd92_ms, jnd95_ms


class Strictness(StrEnum):
    """How exacting the judgement of timing is."""

    STRICT = "strict"
    USUAL = "usual"
    LENIENT = "lenient"


_SCALES = {Strictness.STRICT: 0.75, Strictness.USUAL: 1.0, Strictness.LENIENT: 1.4}


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
    """How much more is allowed after a long note, a slur or under a fermata, where lengthening
    is expected and heard less (Repp 1998, JEP:HPP 24, 791-811)."""
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
        scale = _SCALES[strictness]
        return cls(
            late_floor_ms=cls().late_floor_ms * scale,
            late_share=cls().late_share * scale,
            pause_ms=cls().pause_ms * scale,
            known_pause_ms=cls().known_pause_ms * scale,
            pause_share=cls().pause_share * scale,
            pause_scatters=cls().pause_scatters * scale,
            pause_least_share=cls().pause_least_share * scale,
            pause_most_share=cls().pause_most_share * scale,
            apart_ms=cls().apart_ms * scale,
            apart_share=cls().apart_share * scale,
            uneven_ratio=1 + (cls().uneven_ratio - 1) * scale,
            uneven_ms=cls().uneven_ms * scale,
            ragged_cv=cls().ragged_cv * scale,
            drift_ratio=1 + (cls().drift_ratio - 1) * scale,
            even_drift_ratio=1 + (cls().even_drift_ratio - 1) * scale,
            click_ms=cls().click_ms * scale,
            click_share=cls().click_share * scale,
            slow_share=cls().slow_share * scale,
            fast_share=cls().fast_share * scale,
            release_share=cls().release_share / scale,
            gap_share=cls().gap_share * scale,
            staccato_share=min(cls().staccato_share * scale, 0.95),
            left_louder=cls().left_louder * scale,
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
        return max(least_ms, share * ioi_ms, 2 * jnd92_ms(ioi_ms))

    def hands_apart_ms(self, beat_ms: float) -> float:
        """The least distance between the hands that counts, in ms."""
        return max(self.hands_apart_least_ms(beat_ms), self.apart_share * beat_ms)

    def hands_apart_least_ms(self, beat_ms: float) -> float:
        """The same where the hands keep together but for this once, whatever the tempo, in ms."""
        return max(self.apart_ms, jnd95_ms(beat_ms))

    def against_click_ms(self, beat_ms: float) -> float:
        """The least error against the click that counts, in ms."""
        return max(self.click_ms, self.click_share * beat_ms, jnd95_ms(beat_ms))


USUAL = Tolerance()
"""The figures that apply unless others are chosen."""
