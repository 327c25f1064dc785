"""What a verdict says of each transition is worked out once, and handed on with it."""

from __future__ import annotations

from dataclasses import replace

import pytest

import coach.coaching.coach as coach_module
from coach.coaching.model import Observation
from coach.coaching.observations import observe_transitions
from coach.drill import Drill, repair, window
from coach.judging.model import Judgement, Outcome
from coach.playing.notes import PlayedNote
from coach.record.rows import repetition_row
from tests.judging_help import both, play

PIECE = both(16)


def drill() -> tuple[Drill, list[PlayedNote]]:
    """A drill, and what it asks for as written."""
    made = Drill(PIECE, repair(PIECE, window(PIECE, bars="1-2"), qpm=80))
    return made, play(made.excerpt, qpm=80)


def test_a_repetition_brings_what_was_observed_in_it() -> None:
    made, notes = drill()
    for take in (notes, [replace(notes[0], pitch=61), *notes[1:]]):
        ended = made.repetition(take, now_s=10.0)
        assert ended.observed == observe_transitions(ended.judgement, 10.0)


def test_what_was_no_repetition_brings_nothing_of_the_one_before() -> None:
    made, notes = drill()
    assert made.repetition(notes).observed
    octave_high = [replace(note, pitch=note.pitch + 12) for note in notes]
    observed = made.repetition(octave_high).observed
    assert {one.outcome for one in observed} == {Outcome.NOT_REACHED}


def test_drill_and_record_work_it_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    calls = []

    def counted(judgement: Judgement, at_s: float) -> tuple[Observation, ...]:
        calls.append(judgement)
        return observe_transitions(judgement, at_s)

    made, notes = drill()
    monkeypatch.setattr(coach_module, "observe_transitions", counted)
    assert repetition_row(made.repetition(notes), 5.0)["moves"]
    assert len(calls) == 1
