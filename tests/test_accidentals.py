"""Where a sign stands before a note: common practice."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F

import pytest

from coach.score.build import score_from_notes
from coach.score.notation import choose_accidentals


def signs(*pitches: int, each: F = F(1), fifths: int = 0, hands: str = "R") -> list[str]:
    """The sign of each key, one after another; a hand for each, or one for all."""
    notes = [
        {"pitch": pitch, "onset": at * each, "length": each, "hand": hand + "H"}
        for at, (pitch, hand) in enumerate(zip(pitches, hands * len(pitches), strict=False))
    ]
    score = score_from_notes(notes, key_fifths=fifths)
    return list(choose_accidentals(score, score.notes))


@pytest.mark.parametrize(
    ("pitches", "found"),
    [
        ((66, 66), ["#", ""]),  # in the same octave it holds
        ((66, 78), ["#", "#"]),  # in another it does not
        ((78, 66, 78), ["#", "#", ""]),
        ((66, 65), ["#", "n"]),
        ((66, 77), ["#", ""]),  # nor is it taken back there
    ],
)
def test_a_sign_holds_in_its_octave_alone(pitches: tuple[int, ...], found: list[str]) -> None:
    assert signs(*pitches) == found


def test_a_sign_holds_to_the_end_of_its_bar() -> None:
    assert signs(66, 60, 62, 66, 66) == ["#", "", "", "", "#"]


def test_a_sign_holds_on_its_staff_alone() -> None:
    assert signs(66, 66, hands="RL") == ["#", "#"]


def test_the_key_s_own_need_no_sign_in_any_octave() -> None:
    assert signs(66, 78, 65, 66, fifths=1) == ["", "", "n", "#"]


def test_under_an_octave_line_a_sign_holds_where_the_note_is_written() -> None:
    """F sharp 5 under 8va stands where F sharp 4 does."""
    notes = [{"pitch": p, "onset": i, "length": 1, "hand": "RH"} for i, p in enumerate((66, 78))]
    score = score_from_notes(notes)
    low, high = score.notes
    score = replace(score, notes=(low, replace(high, octave_shift=-1)))
    assert list(choose_accidentals(score, score.notes)) == ["#", ""]
