"""Evidence kept as its sums from one day to the next: opening costs nothing that grows with it.

The sums hold all that was ever heard under a goal, faded, and what was mended since; of the
record's history only what came after them is folded in. They are of one tempo, since a clean move
counts by its ease: for another tempo the history is folded afresh.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import takewhile
from typing import Any

from coach.coaching.evidence import Evidence, fold
from coach.coaching.facts import Observation

SAVED_WITHIN_S = 2.0
"""The record stamps a repetition a moment after it was judged: what is newer than the sums by less
than this is in them already. No repetition follows another so soon."""


def kept(evidence: Evidence, goal_qpm: float | None) -> dict[str, Any]:
    """The sums, JSON-ready, for :func:`carried_on`."""
    until_s = max((tally.at_s for tally in evidence.beats.values()), default=0.0)
    return {"qpm": goal_qpm, "until_s": until_s, "sums": evidence.plain()}


def carried_on(
    plain: Mapping[str, Any] | None,
    history: Iterable[Observation],
    goal_qpm: float | None,
    now_s: float,
) -> Evidence:
    """Evidence from kept sums (None: there are none) and the history, oldest first, after them.

    Raises KeyError, TypeError or ValueError where the sums are damaged.
    """
    rows = history if isinstance(history, list | tuple) else list(history)
    if plain is None or plain["qpm"] != goal_qpm:
        return fold(rows, goal_qpm, now_s)
    newer = _after(rows, float(plain["until_s"]) + SAVED_WITHIN_S)
    return fold(newer, goal_qpm, now_s, Evidence.from_plain(plain["sums"]))


def _after(rows: Sequence[Observation], at_s: float) -> list[Observation]:
    return list(takewhile(lambda one: one.at_s > at_s, reversed(rows)))[::-1]
