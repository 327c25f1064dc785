"""Playing an excerpt by rule, for the tests of judging."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from fractions import Fraction as F

from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from coach.score.model import Hands, Score
from coach.score.window import Excerpt, Window, excerpt

STEPS = (60, 62, 64, 65, 67, 69, 71)


def tune(
    count: int, each: F = F(1, 2), *, hand: str = "RH", start: int = 60
) -> list[dict[str, object]]:
    """A scale up and down, one note after another."""
    ups = [start + 12 * (i // 7) + STEPS[i % 7] - 60 for i in range(8)]
    row = (ups + ups[-2:0:-1]) * (count // 14 + 1)
    return [
        {"pitch": row[i], "onset": i * each, "length": each, "hand": hand} for i in range(count)
    ]


def both(count: int = 16, metre: str = "4/4") -> Score:
    """Eighths in the right hand, quarters in the left."""
    left = tune(count // 2, F(1), hand="LH", start=36)
    return score_from_notes([*tune(count), *left], metre=metre)


def whole(score: Score, hands: Hands = Hands.TOGETHER) -> Excerpt:
    """All of a piece."""
    return excerpt(score, Window(F(0), score.end_quarters, hands))


def play(
    window: Excerpt,
    *,
    qpm: float = 100.0,
    at: Callable[[float], float] | None = None,
    late: dict[int, float] | None = None,
    start_s: float = 0.5,
    held: float = 0.9,
) -> list[PlayedNote]:
    """Play what is written: ``at`` maps quarters to seconds, ``late`` moves notes by index."""
    time = at or (lambda x: x * 60 / qpm)
    zero = float(window.notes[0].onset_quarters)
    out = []
    for i, note in enumerate(window.notes):
        onset = start_s + time(float(note.onset_quarters) - zero) + (late or {}).get(i, 0.0)
        length = held * float(note.length_quarters) * 60 / qpm
        out.append(PlayedNote(note.pitch, 64, onset, max(length, 0.03)))
    return sorted(out, key=lambda note: note.onset_s)


def after(window: Excerpt, onset: F, seconds: float, notes: Iterable[int] = ()) -> dict[int, float]:
    """Lateness for every note at or after an onset: a hesitation before it."""
    return {
        i: seconds for i, note in enumerate(window.notes) if note.onset_quarters >= onset
    } | dict.fromkeys(notes, seconds)
