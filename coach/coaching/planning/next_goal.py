"""Going on once a goal is reached: the bars that come next, asked for as the last ones were."""

from __future__ import annotations

from dataclasses import replace

from coach.coaching.model import Goal
from coach.score.model import Score
from coach.score.window import Window, whole_piece


def find_next_goal(score: Score, goal: Goal) -> Goal | None:
    """The goal after this one: as many bars again, with the same hands; None after the whole piece.

    The tempo stands to the piece's own as before. After the last bars it is the whole piece, for
    what was learnt in parts has to hold as one. Bars in which these hands rest are passed over.
    """
    hands, start = goal.window.hands, goal.window.start_quarters
    whole = whole_piece(score, hands)
    if goal.window.contains(whole):
        return None
    first, last = score.bars_of(start, goal.window.end_quarters)
    bars = score.bars[last.index + 1 :]
    count = last.index - first.index + 1
    stretches = [bars[at : at + count] for at in range(0, len(bars), count)]
    windows = [Window(some[0].onset_quarters, some[-1].end_quarters, hands) for some in stretches]
    ahead = [one for one in windows if _is_played(score, one)]
    after = ahead[0] if ahead else whole
    proportion = goal.qpm / score.tempo_at(start)
    return replace(
        goal, window=after, qpm=score.tempo_at(after.start_quarters) * proportion, reason=""
    )


def _is_played(score: Score, window: Window) -> bool:
    return bool(score.notes_between(window.start_quarters, window.end_quarters, window.hands))
