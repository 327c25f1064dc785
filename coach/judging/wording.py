"""What is said of a repetition: keys and places in words."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from fractions import Fraction
from statistics import fmean

from coach.judging.model import Fault
from coach.score.model import Hands, ScoreNote
from coach.score.pitch import Spelling, fifths_name
from coach.score.place import beat_words
from coach.score.window import Excerpt

_HOLDS_PLACE = frozenset({"hesitation", "one hand late", "one hand early"})
"""Causes whose words name their place already."""


def place(excerpt: Excerpt, onset: Fraction) -> str:
    """``beat 2``; with its bar where the window has more than one: ``bar 12 beat 2``."""
    at = excerpt.place_of(onset)
    beat = f"beat {beat_words(at.beat)}"
    if not at.bar_number:
        return beat
    if excerpt.is_one_bar and at.bar_index == excerpt.places[0].bar_index:
        return beat
    return f"{at.bar} {beat}"


def late(excerpt: Excerpt, onset: Fraction, error_s: float) -> str:
    """``late to beat 2 (0.4 s)``."""
    way = "late" if error_s > 0 else "early"
    return f"{way} to {place(excerpt, onset)} ({seconds(error_s)})"


def seconds(value: float) -> str:
    """``0.4 s``; hundredths below a tenth."""
    size = abs(value)
    return f"{size:.1f} s" if size >= 0.095 else f"{size:.2f} s"


def hand_prefix(excerpt: Excerpt, fault: Fault) -> str:
    """``LH ``; nothing for both hands, or where only one hand plays anyway."""
    if excerpt.hands is not Hands.TOGETHER or fault.hands is Hands.TOGETHER:
        return ""
    return f"{fault.hands.value} "


def whole_fault(excerpt: Excerpt, fault: Fault) -> str:
    """A fault with its hand and place: ``RH C sharp for C at beat 3``."""
    words = brief_fault(excerpt, fault)
    if fault.cause in _HOLDS_PLACE:
        return words
    return f"{words} at {place(excerpt, fault.onset_quarters)}"


def brief_fault(excerpt: Excerpt, fault: Fault) -> str:
    """A fault with its hand: ``RH C sharp for C``, ``RH lies too high``."""
    prefix = hand_prefix(excerpt, fault)
    return prefix + (fault.words.removeprefix("hand ") if prefix else fault.words)


def joined(parts: Sequence[str], most: int) -> str:
    """As many parts as fit into ``most`` words, the first in any case."""
    out: list[str] = []
    for part in parts:
        if out and len(" ".join([*out, part]).split()) > most:
            break
        out.append(part)
    return "; ".join(out)


_FIFTHS = "FCGDAEB"
_MIDDLE_OF_C_MAJOR = 2.0
"""F to B on the line of fifths, C being 0."""


def spelled(pitch: int, excerpt: Excerpt) -> Spelling:
    """A key's spelling in this passage: as it is written there, else the nearest by fifths."""
    known = excerpt.spellings.get(pitch % 12)
    if known is not None:
        step, alter = known.step, known.alter
    else:
        step, alter = fifths_name(_nearest_fifths(pitch, excerpt.spellings.values()))
    octave = 4 + (pitch - Spelling(step, alter, 4).midi) // 12
    return Spelling(step, alter, octave)


def _nearest_fifths(pitch: int, known: Collection[Spelling]) -> int:
    """The place of a key on the line of fifths that lies nearest to those that are written."""
    centre = fmean(map(_fifths, known)) if known else _MIDDLE_OF_C_MAJOR
    place = pitch * 7 % 12
    return min((place + 12 * k for k in range(-3, 4)), key=lambda fifths: abs(fifths - centre))


def _fifths(spelling: Spelling) -> int:
    return _FIFTHS.index(spelling.step) - 1 + 7 * spelling.alter


def instead(played: int, written: ScoreNote, excerpt: Excerpt) -> str:
    """``C sharp for C``; by octaves: ``C an octave high``."""
    name = written.spelling.words
    steps = played - written.pitch
    if steps % 12 == 0 and steps:
        way = "high" if steps > 0 else "low"
        count = abs(steps) // 12
        return f"{name} an octave {way}" if count == 1 else f"{name} {count} octaves {way}"
    return f"{spelled(played, excerpt).words} for {name}"
