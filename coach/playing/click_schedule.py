"""The count-in and the click: which beats there are, which of them sound, and how.

Times are seconds on one monotonic clock. Beats are the metre's beats (a dotted quarter in 6/8).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from itertools import pairwise

from coach.score.model import Score

HIGH_WOOD_BLOCK, LOW_WOOD_BLOCK = 76, 77
"""General MIDI level 1, percussion map (33 and 34, a metronome's click, are not in level 1)."""


class ClickBeats(StrEnum):
    """Which beats sound."""

    ALL = "every beat"
    FIRST = "only the first of a bar"
    BACK = "only 2 and 4"
    """The even ones; in a bar of an odd number all but the first."""
    NONE = "none: only seen"


class ClickSound(StrEnum):
    """What sounds."""

    WOOD = "wood block"
    STICK = "side stick"
    CLAVES = "claves"
    BELL = "cowbell"


_KEYS = {
    ClickSound.WOOD: (HIGH_WOOD_BLOCK, LOW_WOOD_BLOCK),
    ClickSound.STICK: (37, 37),
    ClickSound.CLAVES: (75, 75),
    ClickSound.BELL: (56, 56),
}
"""The accented beats' key and the others' (General MIDI level 1, percussion map; 37, 56 and 75 from
memory)."""
SLOW_S, SLOWEST_S = 1.0, 2.0
"""A beat that is longer than the first is divided, one longer than the second once more. Own
choice, because below 60 a minute people count in between."""


@dataclass(frozen=True, slots=True)
class ClickStyle:
    """How the click sounds."""

    beats: ClickBeats = ClickBeats.ALL
    accents: bool = True
    """Whether the first beat of a bar, and of a group, stands out."""
    divides: bool = True
    """Whether slow beats are divided."""
    silent_bars: int = 0
    """So many bars sound, and then it is silent for as many: the player keeps the pulse alone."""
    loudness: float = 1.0
    """1 as usual."""
    sound: ClickSound = ClickSound.WOOD

    def sounds(self, beat: ClickBeat) -> bool:
        """Whether a beat sounds. The count-in does, or nobody knows the tempo, but for none."""
        if self.beats is ClickBeats.NONE:
            return False
        if beat.counting_in:
            return True
        if self.silent_bars and beat.bar // self.silent_bars % 2:
            return False
        if self.beats is ClickBeats.FIRST:
            return beat.accent
        if self.beats is ClickBeats.BACK:
            return beat.beat % 2 == 0 if beat.beats_in_bar % 2 == 0 else not beat.accent
        return True


USUAL = ClickStyle()

SOUND_S = 0.05
"""From a click's note-on to its note-off; a wood block ends by itself."""

_ON, _OFF = 0x99, 0x89  # channel 10, General MIDI's percussion
_LOUD, _SOFT, _BETWEEN = 110, 80, 45
"""Velocities of the first beat, the others, and what is between them. Own choice: heard apart, and
none of them harsh."""

Timed = tuple[float, tuple[int, ...]]
"""When to send, and the MIDI message."""


@dataclass(frozen=True, slots=True)
class ClickBeat:
    """One beat that sounds."""

    at_s: float
    beat: int
    """Its number in its bar; 1 is the downbeat."""
    counting_in: bool
    begins_group: bool = False
    """Whether a group of the metre begins with it: beats 1 and 4 in 3+2/8."""
    beats_in_bar: int = 4
    bar: int = 0
    """How many bars after the window's first one."""
    is_compound: bool = False
    """Whether it is divided in three."""
    part: str = ""
    """What is said, where it is not the beat but a part of it that is counted: ``&``."""

    @property
    def said(self) -> str:
        """What is counted with it."""
        return self.part or str(self.beat)

    @property
    def accent(self) -> bool:
        """Whether it is the downbeat."""
        return self.beat == 1


def count_in_beats(score: Score, first_beat_quarters: Fraction) -> int:
    """Beats to count before a window's first beat (``excerpt.grid_quarters[0]``).

    A whole bar, and then as much of the next as lies before the window: for a window on beat 3 of
    a 4/4 bar, "1 2 3 4 1 2". Never fewer than two. Common practice.
    """
    metre = score.bar_at(first_beat_quarters).metre
    before = int(score.place(first_beat_quarters).beat) - 1
    bars = 1 if metre.beats_in_bar + before >= 2 else 2
    return bars * metre.beats_in_bar + before


def clicks(
    score: Score,
    grid_quarters: Sequence[Fraction],
    *,
    qpm: float,
    first_click_s: float,
    count_in: int,
) -> tuple[ClickBeat, ...]:
    """The count-in and then one click for each beat of the window's grid.

    The count-in goes in the window's first beat; ``count_in`` comes from :func:`count_in_beats`,
    and ``first_click_s`` is the first of it.
    """
    quarter_s = 60 / qpm
    beat_s = float(grid_quarters[1] - grid_quarters[0]) * quarter_s
    start_s = first_click_s + count_in * beat_s
    first = grid_quarters[0]
    first_bar = score.place(first).bar_index
    counted = [
        _click(score, first, first_click_s + k * beat_s, number, True, first_bar)
        for k, number in enumerate(_numbers_before(score, first, count_in))
    ]
    played = [
        _click(
            score,
            at,
            start_s + float(at - first) * quarter_s,
            int(score.place(at).beat),
            False,
            first_bar,
        )
        for at in grid_quarters
    ]
    return (*counted, *played)


def with_parts(
    beats: Sequence[ClickBeat], beat_s: float, parts: Sequence[str]
) -> tuple[ClickBeat, ...]:
    """The beats, and between them what is counted of each, where it is too slow to be felt.

    ``parts``: what is said after the beat's number, ``("&",)``. Nothing follows the last beat.
    """
    step_s = beat_s / (len(parts) + 1)
    between = [
        replace(beat, at_s=beat.at_s + number * step_s, part=said)
        for beat in beats[:-1]
        for number, said in enumerate(parts, 1)
    ]
    return tuple(sorted((*beats, *between), key=lambda beat: beat.at_s))


def _click(
    score: Score, at: Fraction, at_s: float, beat: int, counting_in: bool, first_bar: int
) -> ClickBeat:
    metre = score.bar_at(at).metre
    return ClickBeat(
        at_s,
        beat,
        counting_in,
        beat in metre.group_starts,
        metre.beats_in_bar,
        score.place(at).bar_index - first_bar,
        metre.is_compound,
    )


def _numbers_before(score: Score, first_beat_quarters: Fraction, count: int) -> list[int]:
    beats = score.bar_at(first_beat_quarters).metre.beats_in_bar
    first = int(score.place(first_beat_quarters).beat)
    return [(first - 1 - back) % beats + 1 for back in range(count, 0, -1)]


def messages(beats: Iterable[ClickBeat], style: ClickStyle = USUAL) -> tuple[Timed, ...]:
    """The clicks as MIDI: a high sound on downbeats, a low one on other beats.

    The low one is as loud as the high one where a group of the metre begins; what divides a slow
    beat is softer.
    """
    beats = tuple(beats)
    high, low = _KEYS[style.sound]
    out: list[Timed] = []
    for beat in filter(style.sounds, beats):
        stands_out = style.accents and beat.begins_group
        key = high if style.accents and beat.accent else low
        out += _strike(beat.at_s, key, (_LOUD if stands_out else _SOFT) * style.loudness)
    for at_s in _divisions_s(beats, style) if style.divides else ():
        out += _strike(at_s, low, _BETWEEN * style.loudness)
    return tuple(sorted(out))


def _divisions_s(beats: Sequence[ClickBeat], style: ClickStyle) -> list[float]:
    """The moments between slow beats: halves, or thirds of a compound beat; once more if slower."""
    out: list[float] = []
    for beat, after in pairwise(beats):
        length_s = after.at_s - beat.at_s
        if length_s <= SLOW_S or style.beats is not ClickBeats.ALL or not style.sounds(beat):
            continue
        parts = (3 if beat.is_compound else 2) * (2 if length_s > SLOWEST_S else 1)
        out += [beat.at_s + length_s * part / parts for part in range(1, parts)]
    return out


def _strike(at_s: float, key: int, velocity: float) -> tuple[Timed, Timed]:
    on = (_ON, key, min(max(round(velocity), 1), 127))
    return (at_s, on), (at_s + SOUND_S, (_OFF, key, 0))
