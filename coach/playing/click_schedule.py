"""The count-in and the click: which beats sound, when, and as which MIDI messages.

Times are seconds on one monotonic clock. Beats are the metre's beats (a dotted quarter in 6/8).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from coach.score.model import Score

HIGH_WOOD_BLOCK, LOW_WOOD_BLOCK = 76, 77
"""General MIDI level 1, percussion map (33 and 34, a metronome's click, are not in level 1)."""

SOUND_S = 0.05
"""From a click's note-on to its note-off; a wood block ends by itself."""

_ON, _OFF = 0x99, 0x89  # channel 10, General MIDI's percussion
_LOUD, _SOFT = 110, 80

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
    counted = [
        _click(score, first, first_click_s + k * beat_s, number, True)
        for k, number in enumerate(_numbers_before(score, first, count_in))
    ]
    played = [
        _click(score, at, start_s + float(at - first) * quarter_s, int(score.place(at).beat), False)
        for at in grid_quarters
    ]
    return (*counted, *played)


def _click(score: Score, at: Fraction, at_s: float, beat: int, counting_in: bool) -> ClickBeat:
    starts = score.bar_at(at).metre.group_starts
    return ClickBeat(at_s, beat, counting_in, beat in starts)


def _numbers_before(score: Score, first_beat_quarters: Fraction, count: int) -> list[int]:
    beats = score.bar_at(first_beat_quarters).metre.beats_in_bar
    first = int(score.place(first_beat_quarters).beat)
    return [(first - 1 - back) % beats + 1 for back in range(count, 0, -1)]


def messages(sounding: Iterable[ClickBeat]) -> tuple[Timed, ...]:
    """The clicks as MIDI: a high wood block on downbeats, a low one on other beats.

    The low one is as loud as the high one where a group of the metre begins.
    """
    out: list[Timed] = []
    for click in sounding:
        key = HIGH_WOOD_BLOCK if click.accent else LOW_WOOD_BLOCK
        out.append((click.at_s, (_ON, key, _LOUD if click.begins_group else _SOFT)))
        out.append((click.at_s + SOUND_S, (_OFF, key, 0)))
    return tuple(sorted(out))
