"""The warm-up as text: which spots, and why."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from coach.cli.pieces import open_piece
from coach.coaching.places import Places
from coach.coaching.warmup import WarmUp, warm_up
from coach.record.piece import piece_key
from coach.record.store import Store
from coach.score.choose import whole_piece
from coach.score.model import Score
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
    place = Places(score, whole_piece(score)).words(one.spot.transition)
    minutes = max(1, round(one.expected_s / 60))
    return f"{place}. {one.reason} About {minutes} min."
