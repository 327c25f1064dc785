"""A narrow search that finds what a wide one does."""

import random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.judging.alignment import beam_search as widening
from coach.judging.alignment.beam_search import Decoder, search
from coach.judging.alignment.hypothesis import UNSURE_BELOW, Hypothesis, collect_steps
from coach.judging.alignment.initial_tempo import beat_period, written_period
from coach.judging.alignment.score_arrays import make_score_arrays
from coach.judging.alignment.transitions import COSTS, Transitions
from coach.playing.notes import PlayedNote
from scripts.earcases.adapter import excerpt_of, played_of
from scripts.earcases.cases import window_cases
from scripts.earcases.studies import study

Found = list[tuple[float, Hypothesis]]


def a_take(seed: int) -> tuple[Transitions, list[PlayedNote], float]:
    """A window that was played, mostly with mistakes, and its seconds in a beat."""
    rng = random.Random(seed)
    made: list[dict[str, Any]] = []
    while not made:
        made = window_cases(study(rng, f"whole {seed}", 4), rng, "whole", 2) or []
    part = excerpt_of(made[-1])
    take = sorted(played_of(made[-1]), key=lambda note: note.onset_s)
    score = make_score_arrays(part)
    return Transitions(score, COSTS), take, beat_period(score, take, written_period(part))


def widely(transitions: Transitions, take: list[PlayedNote], period_s: float) -> Found:
    """All hypotheses that a wide search keeps."""
    decoder = Decoder(transitions, period_s)
    for note in take:
        decoder.add_key(note)
    return decoder.list_whole()


def good(found: Found) -> list[tuple[float, list[tuple[int, int, int]]]]:
    """The best and those about as good: what they cost, and what they say of each key."""
    return [
        (cost, [(key, kind, note) for _, key, kind, note in reversed(collect_steps(one))])
        for cost, one in found
        if cost - found[0][0] < UNSURE_BELOW
    ]


def skips(found: tuple[float, Hypothesis]) -> bool:
    """Whether a hypothesis leaves out a beat, or the end."""
    cost, one = found
    return cost > one.cost or one.gap_end > 0


@pytest.mark.property
@settings(max_examples=40, deadline=None)
@given(st.integers(0, 5000))
def test_finds_what_a_wide_search_finds(seed: int) -> None:
    transitions, take, period_s = a_take(seed)
    found, wide = search(transitions, take, period_s), widely(transitions, take, period_s)
    assert found[0][0] <= wide[0][0]
    if not skips(wide[0]):
        assert good(found) == good(wide)


def test_so_it_does_where_a_hypothesis_gets_much_back(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(widening, "AS_GOOD", -0.1)  # as if even the best were too costly
    monkeypatch.setattr(widening, "NARROW", 1.0)
    for seed in range(20):
        transitions, take, period_s = a_take(seed)
        best, wide = (
            search(transitions, take, period_s, below=1e6)[0],
            widely(transitions, take, period_s)[0],
        )
        assert best[0] == wide[0] or (skips(wide) and best[0] < wide[0])


def test_nothing_is_found_where_all_costs_too_much() -> None:
    transitions, take, period_s = a_take(1)
    best = widely(transitions, take, period_s)[0][0]
    assert search(transitions, take, period_s, below=best) == []
    assert search(transitions, take, period_s, below=best + 0.01)[0][0] == best
