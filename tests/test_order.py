"""Two notes of one hand struck the other way round are told as that, at every stage."""

from fractions import Fraction as F

import pytest

from coach.judging.judge import judge
from coach.judging.model import Cause, Stage
from coach.score.build import score_from_notes
from tests.judging_help import play, tune, whole

WINDOW = whole(score_from_notes(tune(12, F(1, 4))))
"""Sixteenths at 100: 150 ms apart."""


@pytest.mark.parametrize("stage", list(Stage))
@pytest.mark.parametrize("reversed_s", [0.04, 0.1, 0.15])
def test_an_exchange_is_told_at_every_stage(stage: Stage, reversed_s: float) -> None:
    by_s = (0.15 + reversed_s) / 2
    take = judge(WINDOW, play(WINDOW, late={4: by_s, 5: -by_s}), stage=stage)
    told = [fault for fault in take.faults if not fault.forgiven]
    assert told[0].cause is Cause.WRONG_ORDER
    assert take.sentence.startswith("A before G at beat 2")


@pytest.mark.parametrize(("reversed_s", "is_clean"), [(0.02, True), (0.028, True), (0.032, False)])
def test_two_strokes_at_once_have_no_order(reversed_s: float, is_clean: bool) -> None:
    by_s = (0.15 + reversed_s) / 2
    take = judge(WINDOW, play(WINDOW, late={4: by_s, 5: -by_s}), stage=Stage.NOTES)
    assert take.clean is is_clean


def test_the_notes_of_a_chord_have_no_order() -> None:
    chords = [
        {"pitch": pitch + step, "onset": i, "length": 1, "hand": "RH"}
        for i, pitch in enumerate((60, 62, 64, 65, 64, 62))
        for step in (0, 4, 7)
    ]
    window = whole(score_from_notes(chords))
    take = judge(window, play(window, late={3: 0.08, 5: -0.05}), stage=Stage.NOTES)
    assert take.clean


def test_hands_that_cross_in_time_have_an_order_each() -> None:
    left = [{"pitch": 40 + i, "onset": i + F(1, 2), "length": 1, "hand": "LH"} for i in range(6)]
    right = [{"pitch": 60 + i, "onset": i, "length": 1, "hand": "RH"} for i in range(6)]
    window = whole(score_from_notes([*left, *right]))
    at = next(i for i, n in enumerate(window.notes) if n.pitch == 63)
    take = judge(window, play(window, late={at: 0.4}), stage=Stage.NOTES)
    assert take.clean
