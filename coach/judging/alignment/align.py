"""Matching: which key was struck for which note, once the repetition is over."""

from __future__ import annotations

from collections.abc import Sequence

from coach.judging.alignment.ambiguity import Labels, is_unsure, told
from coach.judging.alignment.costs import COSTS
from coach.judging.alignment.hypothesis import Reading
from coach.judging.alignment.initial_tempo import ALIKE, beat_period, mean_period, written_period
from coach.judging.alignment.key_hands import likely_hand
from coach.judging.alignment.score_arrays import HANDS, Layout, lay_out
from coach.judging.alignment.search import decode
from coach.judging.alignment.transitions import Moves
from coach.judging.model import Label, Matching, PlayedLabel, ScoreLabel
from coach.playing.notes import PlayedNote
from coach.score.window import Excerpt

POOR = 12.0
"""A reading that costs more may have been made at a wrong tempo."""

CLEARLY = 6.0
"""How much better a reading at another tempo must be."""


def match(excerpt: Excerpt, played: Sequence[PlayedNote], *, qpm: float | None = None) -> Matching:
    """Label every score note and every played note, once each, in their orders.

    After a stumble or a restart the last play of a note is the match, the earlier ones are
    repeated; a wrong key of the aborted attempt is extra. Played notes may come in any order.
    The keys of a freely played ornament are all matched to its one note, and notes that share a
    key and an onset all to the one key. ``qpm`` is the tempo
    asked for, in quarters a minute: where the keys alone do not tell the tempo, it is taken to be
    that one.
    """
    layout = lay_out(excerpt)
    order = sorted(range(len(played)), key=lambda i: played[i].onset_s)
    take = [played[i] for i in order]
    usual_s = written_period(excerpt, qpm)
    period_s = beat_period(layout, take, usual_s, known=qpm is not None)
    readings = _readings(layout, take, period_s)
    labels = told(layout, readings[0][1])
    unsure = is_unsure(layout, take, readings, labels)
    return _matching(layout, take, order, labels, unsure)


def _readings(layout: Layout, take: list[PlayedNote], period: float) -> list[tuple[float, Reading]]:
    """The likeliest readings; where they are poor, at the take's mean tempo too."""
    moves = Moves(layout, COSTS)
    found = decode(moves, take, period)
    mean = mean_period(layout, take)
    if found[0][0] > POOR and mean > 0 and not 1 / ALIKE < mean / period < ALIKE:
        return decode(moves, take, mean, found[0][0] - CLEARLY) or found
    return found


def _matching(
    layout: Layout, take: list[PlayedNote], order: list[int], labels: Labels, unsure: bool
) -> Matching:
    struck: dict[int, ScoreLabel] = {}
    keys: list[PlayedLabel] = []
    for at, (label, target) in enumerate(labels):
        if target < 0:
            hand = likely_hand(layout, labels, take, at)
            keys.append(PlayedLabel(order[at], label, None, hand))
            continue
        note = layout.note[target]
        keys.append(PlayedLabel(order[at], label, note, HANDS[layout.hand[target]]))
        if label is not Label.REPEATED and note not in struck:
            struck[note] = ScoreLabel(note, label, order[at])
    keys.sort(key=lambda key: key.played)
    for note, others in layout.shared.items():
        if note in struck:
            struck |= {other: struck[note]._replace(note=other) for other in others}
    notes = range(len(layout.note) + sum(map(len, layout.shared.values())))
    score = tuple(struck.get(note) or ScoreLabel(note, Label.MISSED) for note in notes)
    return Matching(score, tuple(keys), unsure)
