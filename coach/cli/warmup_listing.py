"""The warm-up in words: which spots, why, and which of them is now."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from coach.cli.open_score import open_piece
from coach.coaching.planning import PlanRow, RowState, WarmUp, warm_up
from coach.coaching.wording import HANDS, move_words, stretch_words
from coach.record.pieces import piece_key
from coach.record.store import Store
from coach.score.model import Score
from coach.screens.interfaces import HomeItem


def warm_up_lines(items: Sequence[HomeItem], store: Store | None, data: Path | None) -> list[str]:
    """For each piece its spots, the worst first."""
    lines = []
    for item in items:
        score = open_piece(item.path, data=data)
        history = store.last_session(piece_key(score, item.path)) if store else ()
        lines.append(score.title)
        lines += [f"  {_line(score, one)}" for one in warm_up(score, history)]
    return lines


def warm_up_plan(
    score: Score, spots: Sequence[WarmUp], states: Sequence[RowState]
) -> tuple[PlanRow, ...]:
    """The warm-up's spots as a plan, in the order in which they are played."""
    return tuple(
        PlanRow(f"{stretch_words(score, one.window)}, {HANDS[one.window.hands]}", one.window, state)
        for one, state in zip(spots, states, strict=True)
    )


def _line(score: Score, one: WarmUp) -> str:
    place = move_words(score, one.spot.transition)
    minutes = max(1, round(one.expected_s / 60))
    return f"{place}. {one.reason} About {minutes} min."
