"""Alignment: which key was struck for which note, once the repetition is over.

A hidden Markov model whose state is where both hands are in the score, after the score followers
of Nakamura, Ono, Saito & Sagayama (2014), "Merged-output hidden Markov model for score following
of MIDI performance with ornaments, desynchronized voices, repeats and skips", ICMC/SMC.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf

from coach.judging.alignment.beam_search import search
from coach.judging.alignment.found_chords import (
    collect_chords_gone_back_to,
    collect_found_chords,
    collect_restruck,
)
from coach.judging.alignment.hypothesis import Hypothesis, Labels, find_doubtful, read_labels
from coach.judging.alignment.initial_tempo import (
    SAME_TEMPO,
    beat_period,
    mean_period,
    written_period,
)
from coach.judging.alignment.score_arrays import HANDS, ScoreArrays, make_score_arrays
from coach.judging.alignment.transitions import COSTS, Transitions
from coach.judging.model import Label, Matching, PlayedLabel, ScoreLabel
from coach.playing.notes import PlayedNote
from coach.score.model import Hand
from coach.score.window import Excerpt

# Which hand struck a key that the score does not ask for: its nearest neighbour's.


NEIGHBOURS = 6
"""Keys on each side that tell where the hands were. Own choice, because a hand moves on soon."""
SEMITONES_ACROSS = 18.0
"""How far in pitch a key may be that is as far away in time as these keys reach: at any tempo. Own
choice, because hands lie some octave and a half apart."""


LEAST_S = 1e-9
"""Only so that nothing is divided by zero."""


def likely_hand(
    score: ScoreArrays, labels: Sequence[tuple[Label, int]], take: Sequence[PlayedNote], at: int
) -> Hand | None:
    """The hand of the nearest key in pitch and time whose hand is known.

    Where the window is for one hand, that hand; None where nothing was played for the score.
    """
    if score.only_hand is not None:
        return HANDS[score.only_hand]
    note = take[at]
    best, found = inf, None
    first, end = max(at - NEIGHBOURS, 0), min(at + NEIGHBOURS + 1, len(labels))
    across_s = max(take[end - 1].onset_s - take[first].onset_s, LEAST_S)
    for near in range(first, end):
        target = labels[near][1]
        if target >= 0:
            away = abs(take[near].onset_s - note.onset_s) / across_s * SEMITONES_ACROSS
            away += abs(take[near].pitch - note.pitch)
            if away < best:
                best, found = away, score.hand[target]
    return None if found is None else HANDS[found]


POOR = 12.0
"""A hypothesis that costs more, in nats, may have been made at a wrong tempo. Own choice, because
two slips cost less."""

CLEARLY = 6.0
"""How much better a hypothesis at another tempo must be, in nats. Own choice, because that is more
than one slip: some 400 to 1."""


def match(excerpt: Excerpt, played: Sequence[PlayedNote], *, qpm: float | None = None) -> Matching:
    """Label every score note and every played note, once each, in their orders.

    After a stumble or a restart the last play of a note is the match, the earlier ones are
    repeated; a wrong key of the aborted attempt is extra. Played notes may come in any order.
    The keys of a freely played ornament are all matched to its one note, and notes that share a
    key and an onset all to the one key. ``qpm`` is the tempo
    asked for, in quarters a minute: where the keys alone do not tell the tempo, it is taken to be
    that one.
    """
    score = make_score_arrays(excerpt)
    order = sorted(range(len(played)), key=lambda i: played[i].onset_s)
    take = [played[i] for i in order]
    usual_s = written_period(excerpt, qpm)
    period_s = beat_period(score, take, usual_s, known=qpm is not None)
    found = _search_hypotheses(score, take, period_s)
    labels = read_labels(score, found[0][1])
    doubtful = find_doubtful(score, take, found, labels)
    labels = collect_found_chords(score, take, labels, period_s)
    labels = collect_restruck(score, take, labels, period_s)
    labels = collect_chords_gone_back_to(score, take, labels)
    return _make_matching(score, take, order, labels, doubtful)


def _search_hypotheses(
    score: ScoreArrays, take: list[PlayedNote], period_s: float
) -> list[tuple[float, Hypothesis]]:
    """The likeliest hypotheses; where they are poor, at the take's mean tempo too."""
    transitions = Transitions(score, COSTS)
    found = search(transitions, take, period_s)
    mean_s = mean_period(score, take)
    is_other = mean_s > 0 and not 1 / SAME_TEMPO < mean_s / period_s < SAME_TEMPO
    if found[0][0] > POOR and is_other:
        return search(transitions, take, mean_s, found[0][0] - CLEARLY) or found
    return found


def _make_matching(
    score: ScoreArrays,
    take: list[PlayedNote],
    order: list[int],
    labels: Labels,
    doubtful: frozenset[int],
) -> Matching:
    struck: dict[int, ScoreLabel] = {}
    keys: list[PlayedLabel] = []
    for at, (label, target) in enumerate(labels):
        if target < 0:
            hand = likely_hand(score, labels, take, at)
            keys.append(PlayedLabel(order[at], label, None, hand))
            continue
        note = score.note[target]
        keys.append(PlayedLabel(order[at], label, note, HANDS[score.hand[target]]))
        if label is not Label.REPEATED and note not in struck:
            struck[note] = ScoreLabel(note, label, order[at])
    keys.sort(key=lambda key: key.played)
    for note, others in score.shared.items():
        if note in struck:
            struck |= {other: struck[note]._replace(note=other) for other in others}
    notes = range(len(score.note) + sum(map(len, score.shared.values())))
    by_note = tuple(struck.get(note) or ScoreLabel(note, Label.MISSED) for note in notes)
    return Matching(by_note, tuple(keys), frozenset(score.note[one] for one in doubtful))
