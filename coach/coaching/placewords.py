"""Moves and windows in words, as a pianist finds them on the page."""

from __future__ import annotations

from coach.score.model import Hands, Score
from coach.score.place import beat_words
from coach.score.window import Transition, Window


def move_words(score: Score, move: Transition) -> str:
    """``LH bar 12, beat 1 → 2``: whose move, and from where to where."""
    whose = "both hands" if move.hands is Hands.TOGETHER else move.hands.value
    return f"{whose} {way_words(score, move)}"


def way_words(score: Score, move: Transition) -> str:
    """``bar 12, beat 1 → 2``; across a barline ``bar 12, beat 4 → bar 13, beat 1``."""
    start, end = score.place(move.from_quarters), score.place(move.to_quarters)
    if move.from_quarters < score.bars[0].onset_quarters:  # the piece's first note
        return str(end)
    crossing = "" if start.bar_index == end.bar_index else f"{end.bar}, beat "
    return f"{start} → {crossing}{beat_words(end.beat)}"


def arrival_words(score: Score, move: Transition) -> str:
    """``bar 12 beat 2``: where a move arrives."""
    return str(score.place(move.to_quarters)).replace(",", "")


def run_up_words(score: Score, window: Window, move: Transition) -> str:
    """`` Begin at beat 3.``: what a window has before the move that it is there for.

    Empty where it has nothing before it, and where the move is not all that follows.
    """
    before = window.start_quarters < move.from_quarters
    if not before or window.end_quarters > move.to_quarters:
        return ""
    start = score.place(window.start_quarters)
    same_bar = start.bar_index == score.place(move.from_quarters).bar_index
    return f" Begin at {f'beat {beat_words(start.beat)}' if same_bar else start}."


def whole_bars_words(score: Score, window: Window) -> str:
    """``bars 3 to 5``; empty where a window is not of whole bars."""
    first, last = score.bars_of(window.start_quarters, window.end_quarters)
    whole = window.start_quarters == first.onset_quarters
    return first.words_to(last) if whole and window.end_quarters >= last.end_quarters else ""


def stretch_words(score: Score, window: Window) -> str:
    """``bar 3``, ``bars 3 to 5``, ``bar 3, beats 2 to 4``: a window for people."""
    if whole := whole_bars_words(score, window):
        return whole
    first, last = score.place(window.start_quarters), score.place(window.end_quarters)
    if first.bar_index == last.bar_index:
        return f"{first.bar}, beats {beat_words(first.beat)} to {beat_words(last.beat)}"
    return f"{first} to {last}"
