"""The tempo marks of a piece: printed numbers first, then playback's, words only as a guess."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from coach.score.model import Bar
from coach.score.printed import TempoMark
from coach.score.reading.raw import PartFacts, TempoAt
from coach.score.reading.tempo import UNMARKED_QPM, sensible, words_qpm


def tempo_marks(everyone: Sequence[PartFacts], bars: Sequence[Bar]) -> tuple[TempoMark, ...]:
    """One mark for each onset that has one; a guess at the start where the page has none."""
    placed: dict[Fraction, list[TempoAt]] = {}
    for part in everyone:
        for tempo in part.tempos:
            onset = bars[tempo.bar].onset_quarters + tempo.at
            placed.setdefault(onset, []).append(tempo)
    marks: list[TempoMark] = []
    for onset in sorted(placed):
        best = min(placed[onset], key=_rank)
        words = best.words or next((t.words for t in placed[onset] if t.words), "")
        mark = _mark(onset, best, words, bars[best.bar], marks)
        marks += [mark] if mark else []
    if not marks or marks[0].onset_quarters > 0:
        first = marks[0].qpm if marks else UNMARKED_QPM
        marks.insert(0, TempoMark(Fraction(0), first, "", True))
    return tuple(marks)


def _rank(tempo: TempoAt) -> int:
    return (tempo.qpm is None) * 4 + (not tempo.is_printed) * 2 + (not tempo.words)


def _mark(
    onset: Fraction, tempo: TempoAt, words: str, bar: Bar, before: list[TempoMark]
) -> TempoMark | None:
    if tempo.qpm is not None:
        return TempoMark(onset, tempo.qpm, words)
    if tempo.ratio is not None:
        if not before:
            return None
        qpm = sensible(before[-1].qpm * float(tempo.ratio))
        return TempoMark(onset, qpm, words, before[-1].is_guess) if qpm else None
    guess = words_qpm(words, bar.metre.beat_quarters)
    return TempoMark(onset, guess, words, True) if guess else None
