"""Which of the keys were for the window, where others were played before it or after it.

Whoever leads in from the bar before, goes on past the end, or warms the fingers up first, plays the
window all the same. So the keys are cut in two where that explains them best: one part is the
window as far as it came, the other what is written before or after it, or a filler (see
``other_music``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import inf
from typing import NamedTuple

from coach.judging.instead.edit_distance import (
    count_fewest_errors,
    list_errors_to_end,
    order_in_strokes,
)
from coach.judging.instead.surroundings import STRANGE_SHARE, Surroundings
from coach.judging.model import Judgement, Label, PlayedLabel
from coach.playing.notes import PlayedNote

MOST_SHARE = 0.6
"""The window was played where so much of it came as it is written. Own choice, because with fewer
keys right nobody would call it that."""


class Cut(NamedTuple):
    """The keys from ``first`` up to ``end`` are the window, the others are not."""

    errors: float
    """How many slips it costs at the least."""
    first: int
    end: int


def find_window_part(
    take: Sequence[PlayedNote], surroundings: Surroundings
) -> tuple[PlayedNote, ...]:
    """The keys that are most of the window, where the others are what stands right before it or
    after it; none where the window was not played."""
    order = order_in_strokes(take)
    keys = [take[at].pitch for at in order]
    cut = find_cut(keys, surroundings, inf)
    part = keys[cut.first : cut.end]
    right = len(part) - count_fewest_errors(part, surroundings.inside)
    if right < MOST_SHARE * len(surroundings.inside) or cut.errors > STRANGE_SHARE * len(keys):
        return ()
    return tuple(take[at] for at in sorted(order[cut.first : cut.end]))


def find_cut(keys: Sequence[int], surroundings: Surroundings, filler: float) -> Cut:
    """The best cut of the keys; ``filler``: what any key costs that is neither, in slips."""
    count, inside = len(keys), surroundings.inside
    errors, cut = _find_cut(keys, surroundings.before, inside, filler)
    after, kept = _find_cut(keys[::-1], surroundings.after[::-1], inside[::-1], filler)
    return min(Cut(errors, cut, count), Cut(after, 0, count - kept))


def _find_cut(keys: Sequence[int], first: bytes, then: bytes, filler: float) -> tuple[float, int]:
    """What the keys cost as a stretch up to the end of one row, or a filler, and one from the
    beginning of the next row; and how many keys are before the cut."""
    before = list_errors_to_end(keys, first)
    after = list_errors_to_end(keys[::-1], then[::-1])[::-1]
    return min(
        (min(before[cut], filler * cut) + after[cut], cut) for cut in range(1, len(keys) + 1)
    )


def add_other_keys(judgement: Judgement, part: Sequence[int], count: int) -> Judgement:
    """The judgement on a part of ``count`` keys as one on all of them: the others count nothing."""
    played = [PlayedLabel(key, Label.EXTRA) for key in range(count)]
    for label in judgement.played:
        played[part[label.played]] = label._replace(played=part[label.played])
    score = tuple(
        label if label.played is None else label._replace(played=part[label.played])
        for label in judgement.score
    )
    return replace(judgement, score=score, played=tuple(played))
