"""The warm-up as text: which spots, and why."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from coach.cli.pieces import open_piece
from coach.coaching.warmup import WarmUp, warm_up
from coach.record.piece import piece_key
from coach.record.store import Store
from coach.score.model import Score, beat_words
from coach.screens.collaborators import HomeItem


def warm_up_lines(
    items: Sequence[HomeItem], store: Store | None, minutes: float, data: Path | None
) -> list[str]:
    """For each piece its spots, the worst first."""
    lines = []
    for item in items:
        score = open_piece(item.path, data=data)
        history = store.history(piece_key(score, item.path)) if store else ()
        lines.append(score.title)
        lines += [f"  {_line(score, one)}" for one in warm_up(score, history, minutes=minutes)]
    return lines


def _line(score: Score, one: WarmUp) -> str:
    move = one.spot.transition
    place = score.place(max(move.from_quarters, score.bars[0].onset_quarters))
    to = score.place(move.to_quarters)
    mended = ", mended then" if one.spot.mended else ""
    return (
        f"{move.hands.value} bar {place.bar_number}, beat {beat_words(place.beat)} → "
        f"{beat_words(to.beat)}: failed {one.spot.failures} of {one.spot.tries}{mended} "
        f"(about {one.expected_s / 60:.1f} min)"
    )
