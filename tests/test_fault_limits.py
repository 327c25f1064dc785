"""Each figure of the detectors, with a case at both sides of its limit."""

from __future__ import annotations

import pytest

from coach.judging.faults.catalogue import CATALOGUE, SCATTERED_WEIGHT
from coach.judging.judge import judge
from coach.judging.model import Cause, Stage
from coach.judging.wording import seconds
from coach.score.model import Hands
from tests.notated import all_of, played, written
from tests.test_catalogue import SCALE, Made


def causes(take: str, stage: Stage = Stage.RHYTHM, **how: object) -> list[Cause]:
    """What is found in a take of the scale, the heaviest first."""
    made = Made(SCALE, take, **how)  # type: ignore[arg-type]
    return [fault.cause for fault in made.judge(stage).faults]


@pytest.mark.parametrize(
    ("keys", "cause"),
    [("B4 C#5 D#5", Cause.SHIFTED_POSITION), ("C5 D5 E5", Cause.WRONG_KEY)],
)
def test_a_hand_lies_wrong_by_a_major_third_at_most(keys: str, cause: Cause) -> None:
    """G A B, four semitones too high; then five and more."""
    assert causes(f"C4 D4 E4 F4 {keys} C5 B4 A4 G4 F4 E4 D4 C4 D4")[0] is cause


@pytest.mark.parametrize(
    ("keys", "cause"),
    [("- - A4", Cause.MISSED_NOTE), ("- - -", Cause.STRETCH_LEFT_OUT)],
)
def test_three_onsets_left_out_are_one_stretch_and_two_are_two_notes(
    keys: str, cause: Cause
) -> None:
    found = causes(f"C4 D4 E4 F4 G4 {keys.replace('A4', 'C5')} B4 A4 G4 F4 E4 D4 C4 D4")
    assert found[0] is cause


@pytest.mark.parametrize(
    ("last", "found"),
    [("C4 D4", []), ("C4 -", []), ("- -", [])],
)
def test_what_is_silent_at_the_end_was_not_reached_and_is_no_missed_note(
    last: str, found: list[Cause]
) -> None:
    assert causes(f"C4 D4 E4 F4 G4 A4 B4 C5 B4 A4 G4 F4 E4 D4 {last}") == found


@pytest.mark.parametrize(
    ("key", "cause"),
    [("(A4)F4>0.2", Cause.CORRECTED_KEY), ("(Bb4)F4>0.2", Cause.BRUSHED_KEY)],
)
def test_a_key_is_put_right_to_one_a_major_third_away_at_most(key: str, cause: Cause) -> None:
    assert cause in causes(f"C4 D4 E4 {key} G4 A4 B4 C5 B4 A4 G4 F4 E4 D4 C4 D4")


@pytest.mark.parametrize(("size_s", "words"), [(0.0949, "0.09 s"), (0.095, "0.1 s")])
def test_from_a_tenth_of_a_second_on_times_are_told_in_tenths(size_s: float, words: str) -> None:
    assert seconds(size_s) == words


@pytest.mark.parametrize(("offset_s", "is_told"), [(0.029, False), (0.031, True)])
def test_an_offset_against_the_click_is_told_beyond_a_musicians_usual_one(
    offset_s: float, is_told: bool
) -> None:
    take = " ".join(f"{word}>{offset_s}" for word in SCALE["RH"].split())
    made = Made(SCALE, take, asked_qpm=80, has_click=True)
    assert bool(made.judge(Stage.PULSE).notices) == is_told


def test_scattered_rows_are_told_after_hands_that_drift() -> None:
    assert CATALOGUE[Cause.SLOWER_THAN_ASKED].weight < SCATTERED_WEIGHT
    assert SCATTERED_WEIGHT < CATALOGUE[Cause.UNEVEN].weight < CATALOGUE[Cause.HANDS_DRIFT].weight


def test_a_key_put_right_by_the_hand_that_was_late_is_that_hand_s() -> None:
    """D lies no farther from the right hand's F, but the left hand's C came late for it."""
    score = {"RH": "G4 F4 G4 A4 F4 G4 A4 G4", "LH": "C4 A3 B3 A3 C4 A3 B3 C4"}
    take = {**score, "LH": "C4 A3 B3 A3 (D4)C4>0.35 A3 B3 C4"}
    notes = played(score, take)
    found = judge(all_of(written(score), score), notes, stage=Stage.NOTES).faults[0]
    assert (found.cause, found.hands) == (Cause.CORRECTED_KEY, Hands.LEFT)
