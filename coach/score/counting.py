"""Counting aloud: the syllable that is said at each onset.

Three published systems. Where a beat's onsets come from several subdivisions at once (three
against two), each keeps the syllable of its own.

- *Traditional*: ``1 e & a``, ``1 la li`` for thirds (common practice).
- *Eastman*: ``1 ti te ta``, ``1 te``, ``1 la li``, ``1 ta la ta li ta`` (A. I. McHose and R. N.
  Tibbetts's school, as taught today; quoted on mramusicplace.net). Whatever lies between the
  named places is ``ta``, so a quintuplet is ``1 ta ta ta ta``.
- *Takadimi*: ``ta ka di mi``, ``ta ki da``, ``ta va ki di da ma`` (R. Hoffman, W. Pelto and
  J. W. White, Journal of Music Theory Pedagogy 10, 1996). The beat has no number. A beat that
  divides further than that is counted by its halves (its thirds, in compound metre).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import StrEnum
from fractions import Fraction
from math import floor
from typing import TYPE_CHECKING

from coach.score.metre import Metre
from coach.score.words import is_counted_in_three

if TYPE_CHECKING:
    from coach.score.model import Score

_FINEST = 64
"""Parts of a beat finer than this are an exporter's rounding."""

_Q1, _HALF, _Q3 = Fraction(1, 4), Fraction(1, 2), Fraction(3, 4)
_T1, _T2 = Fraction(1, 3), Fraction(2, 3)


SLOWEST_COUNTED = 40
"""Beats a minute, a metronome's slowest mark: slower, nobody feels a beat any more, and its parts
are counted (common practice)."""
SHORTEST_COUNTED = Fraction(1, 4)
"""Quarters: a sixteenth, and nothing shorter, is counted aloud. Own choice."""
_IN_TWO, _IN_THREE = 2, 3
"""How a beat is parted: a dotted one in three, any other in two (common practice)."""


def counted_quarters(qpm: float, beat_quarters: Fraction) -> Fraction:
    """What is counted at a tempo in quarters a minute: the beat, or where that is too slow a part.

    The part is its half, and a dotted beat's third.
    """
    counted = beat_quarters
    while qpm < SLOWEST_COUNTED * counted and counted > SHORTEST_COUNTED:
        counted /= _IN_THREE if counted.numerator % _IN_THREE == 0 else _IN_TWO
    return counted


class CountingSystem(StrEnum):
    """What is said when counting."""

    TRADITIONAL = "traditional"
    EASTMAN = "eastman"
    TAKADIMI = "takadimi"


_NUMBERED: Mapping[CountingSystem, Mapping[Fraction, str]] = {
    CountingSystem.TRADITIONAL: {_Q1: "e", _HALF: "&", _Q3: "a", _T1: "la", _T2: "li"},
    CountingSystem.EASTMAN: {_Q1: "ti", _HALF: "te", _Q3: "ta", _T1: "la", _T2: "li"},
}
_BETWEEN = "ta"

_TAKADIMI: Mapping[int, tuple[str, ...]] = {
    4: ("ta", "ka", "di", "mi"),
    5: ("ta", "ka", "di", "mi", "ti"),
    6: ("ta", "va", "ki", "di", "da", "ma"),
    7: ("ta", "va", "ki", "di", "da", "ma", "ti"),
}
"""Syllables by how many parts the beat has; halves and thirds are in four and six. Five and seven
are from memory of the authors' own list."""


def syllables(
    score: Score,
    onsets_quarters: Sequence[Fraction],
    system: CountingSystem = CountingSystem.TRADITIONAL,
) -> tuple[str, ...]:
    """What is said at each onset, in the order given.

    Onsets are in quarters from the piece's start. How a beat divides is taken from those of them
    that share it, so give all that are in sight, whichever hand plays them. A pickup's beats count
    from the end of its bar. A bar of one dotted beat (3/8) is counted in three, but for takadimi,
    whose syllables say where in the dotted beat it is.
    """
    in_beats = system is CountingSystem.TAKADIMI
    places = [_beat_place(score, onset, in_beats) for onset in onsets_quarters]
    beats: dict[tuple[int, int], set[Fraction]] = {}
    for bar, beat, part in places:
        beats.setdefault((bar, beat), set()).add(part)
    return tuple(
        _syllable(system, beat, part, beats[bar, beat], _in_thirds(score.bars[bar].metre, in_beats))
        for bar, beat, part in places
    )


def _in_thirds(metre: Metre, in_beats: bool) -> bool:
    """Whether what is counted divides into three."""
    return metre.is_compound and (in_beats or not is_counted_in_three(metre))


def _beat_place(score: Score, onset: Fraction, in_beats: bool) -> tuple[int, int, Fraction]:
    """Bar index, beat number and part of the beat (0 to under 1) of an onset."""
    place = score.place(onset)
    beat = (place.beat if in_beats else place.counted).limit_denominator(_FINEST)
    return place.bar_index, floor(beat), beat - floor(beat)


def _syllable(
    system: CountingSystem, beat: int, part: Fraction, shared: set[Fraction], compound: bool
) -> str:
    if system is CountingSystem.TAKADIMI:
        return _takadimi(part, shared, compound)
    if not part:
        return str(beat)
    if part.denominator in (2, 4) and _are_sixths(shared, compound):
        return _BETWEEN
    return _NUMBERED[system].get(part, _BETWEEN)


def _are_sixths(shared: set[Fraction], compound: bool) -> bool:
    """Whether a beat's middle is its fourth sixth, not the second of two halves.

    In compound metre it is as soon as a third is there (sixteenths in 6/8); in simple metre
    thirds and halves together are three against two, and only a sextuplet has sixths.
    """
    return any(part.denominator % (3 if compound else 6) == 0 for part in shared)


def _takadimi(part: Fraction, shared: set[Fraction], compound: bool) -> str:
    split = _level(shared, compound)
    if split:
        inner = floor(part * split)
        within = {p * split - inner for p in shared if floor(p * split) == inner}
        return _takadimi(part * split - inner, within, False)
    count = next((n for n in _TAKADIMI if n % part.denominator == 0), 0)
    # Elevenths and the like have no published syllables.
    return _TAKADIMI[count][int(part * count)] if count else "ti"


def _level(shared: set[Fraction], compound: bool) -> int:
    """Into how many counted parts the beat must be taken: 0 where its syllables suffice."""
    too_fine = [p.denominator for p in shared if not any(n % p.denominator == 0 for n in _TAKADIMI)]
    for split in (3, 2) if compound else (2, 3):
        if too_fine and all(d % split == 0 for d in too_fine):
            return split
    return 0
