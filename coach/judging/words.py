"""Short words for faults and places: read from two metres away, without a colour."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from coach.judging.facts import Fault
from coach.score.model import Hands
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
