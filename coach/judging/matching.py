"""Matching: which key was struck for which note, once the repetition is over."""

from __future__ import annotations

from collections.abc import Sequence

from coach.judging.facts import Label, Matching, PlayedLabel, ScoreLabel
from coach.judging.matching_costs import COSTS
from coach.judging.matching_decode import decode
from coach.judging.matching_reading import Kind, Reading, steps
from coach.judging.matching_score import Layout, lay_out
from coach.judging.matching_tempo import beat_period
from coach.playing.notes import PlayedNote
from coach.score.model import Hand
from coach.score.window import Excerpt

UNSURE_BELOW = 1.0
"""Two readings whose costs differ by less are about equally good."""


def match(excerpt: Excerpt, played: Sequence[PlayedNote]) -> Matching:
    """Label every score note and every played note, once each, in their orders.

    After a stumble or a restart the last play of a note is the match, the earlier ones are
    repeated; a wrong key of the aborted attempt is extra. Played notes may come in any order.
    """
    layout = lay_out(excerpt)
    order = sorted(range(len(played)), key=lambda i: played[i].onset_s)
    take = [played[i] for i in order]
    period = beat_period(layout, take, excerpt)
    readings = decode(layout, take, period, COSTS)
    labels = _labels(layout, readings[0][1], len(take))
    return _matching(layout, take, order, labels, excerpt)


def _labels(layout: Layout, reading: Reading, count: int) -> list[tuple[Label, int]]:
    """Label and note (-1: none) of each key in order."""
    out = [(Label.EXTRA, -1)] * count
    current: dict[int, int] = {}
    for _, index, kind, target in steps(reading):
        if kind is Kind.JUMP:
            for note in [n for n in current if n >= target]:
                key = current.pop(note)
                wrong = out[key][0] is Label.WRONG
                out[key] = (Label.EXTRA, -1) if wrong else (Label.REPEATED, note)
        elif kind in (Kind.MATCH, Kind.WRONG):
            out[index] = (Label.MATCHED if kind is Kind.MATCH else Label.WRONG, target)
            current[target] = index
        elif kind is Kind.FREE:
            out[index] = (Label.MATCHED, target)
    return out


def _matching(
    layout: Layout, take: list[PlayedNote], order: list[int], labels: list[tuple[Label, int]],
    excerpt: Excerpt,
) -> Matching:  # fmt: skip
    score: dict[int, ScoreLabel] = {}
    keys: list[PlayedLabel] = []
    for at, (label, target) in enumerate(labels):
        note = layout.note[target] if target >= 0 else None
        hand = None
        if target >= 0:
            hand = (Hand.RIGHT, Hand.LEFT)[layout.hand[target]]
        keys.append(PlayedLabel(order[at], label, note, hand))
        if note is not None and label in (Label.MATCHED, Label.WRONG) and note not in score:
            score[note] = ScoreLabel(note, label, order[at])
    rows = tuple(score.get(i, ScoreLabel(i, Label.MISSED)) for i in range(len(excerpt.notes)))
    keys.sort(key=lambda k: k.played)
    return Matching(rows, tuple(keys))
