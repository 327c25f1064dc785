"""Choosing a window by bars and beats, as a pianist says it: ``5-8``, ``12``, beats ``3-1``.

Bars are named by their printed numbers; where a number stands twice, the first one counts, and
``#12`` means the twelfth bar of the piece whatever is printed. Beats count from 1 in the first
bar and in the last bar of the stretch: bars 5-6, beats 3-2 is from beat 3 of bar 5 to beat 2 of
bar 6; the note on that last beat is the one arrived at.
"""

from __future__ import annotations

from fractions import Fraction

from coach.score.model import Bar, Hands, Score
from coach.score.window import Window, excerpt

_HANDS = {
    "rh": Hands.RIGHT,
    "right": Hands.RIGHT,
    "lh": Hands.LEFT,
    "left": Hands.LEFT,
    "both": Hands.TOGETHER,
    "together": Hands.TOGETHER,
}


class WindowError(ValueError):
    """The window that was asked for is not in the piece; the message says what is."""


def choose_window(
    score: Score, *, bars: str | None = None, beats: str | None = None, hands: str = "both"
) -> Window:
    """The window of these bars, beats and hands; the whole piece where nothing is said.

    Raises WindowError, one sentence for the pianist, where it lies outside the piece, is the
    wrong way round or holds no note.
    """
    chosen = hands_named(hands)
    first, last = _bar_range(score, bars)
    start, end = first.onset_quarters, last.end_quarters
    if beats is not None:
        start, end = _beat_range(first, last, beats)
    if start >= end:
        raise WindowError("The window ends before it begins; name the earlier bar or beat first.")
    window = Window(start, end, chosen)
    try:
        excerpt(score, window)
    except ValueError as nothing:
        raise WindowError(str(nothing)) from None
    return window


def hands_named(name: str) -> Hands:
    """The hands that a word means: rh, lh, both and their long forms."""
    try:
        return _HANDS[name.strip().lower()]
    except KeyError:
        raise WindowError(f"There is no hand “{name}”; say rh, lh or both.") from None


def bar_named(score: Score, name: str) -> Bar:
    """The bar with this printed number, or the n-th bar for ``#n``."""
    name = name.strip()
    for bar in score.bars:
        if bar.number == name or name == f"#{bar.index + 1}":
            return bar
    first, last = score.bars[0].number or "#1", score.bars[-1].number or f"#{len(score.bars)}"
    raise WindowError(f"There is no bar {name}; the piece has bars {first} to {last}.")


def _bar_range(score: Score, bars: str | None) -> tuple[Bar, Bar]:
    if bars is None:
        return score.bars[0], score.bars[-1]
    low, _, high = bars.partition("-")
    return bar_named(score, low), bar_named(score, high or low)


def _beat_range(first: Bar, last: Bar, beats: str) -> tuple[Fraction, Fraction]:
    low, dash, high = beats.partition("-")
    start = _onset_of_beat(first, low)
    if not dash:
        return start, start + first.metre.beat_quarters
    return start, _onset_of_beat(last, high)


def _onset_of_beat(bar: Bar, text: str) -> Fraction:
    try:
        beat = sum((Fraction(part) for part in text.split()), Fraction(0))
    except (ValueError, ZeroDivisionError):
        raise WindowError(f"“{text}” is not a beat; say for example 2, 2.5 or 2 1/2.") from None
    onset = bar.onset_quarters - bar.lead_quarters + (beat - 1) * bar.metre.beat_quarters
    if not text.strip() or not bar.onset_quarters <= onset <= bar.end_quarters:
        raise WindowError(f"Bar {bar.number} has no beat {text or '(none given)'}.")
    return onset


def bar_window(score: Score, index: int, hands: Hands = Hands.TOGETHER) -> Window:
    """The whole of one bar, by its index."""
    bar = score.bars[index]
    return Window(bar.onset_quarters, bar.end_quarters, hands)


def whole_piece(score: Score, hands: Hands = Hands.TOGETHER) -> Window:
    """All of it."""
    return Window(score.bars[0].onset_quarters, score.end_quarters, hands)
