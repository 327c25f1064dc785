"""A window is chosen as a pianist says it, holds what it should, ends with the note arrived at."""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from coach.score.build import score_from_notes
from coach.score.model import Hands, Score
from coach.score.pitch import Spelling
from coach.score.window import Window, WindowError, choose_window, excerpt


def scale(count: int, metre: str = "4/4", pickup: F = F(0)) -> Score:
    notes = [
        {"pitch": 60 + i, "onset": F(i, 2), "length": F(1, 2), "hand": "RH"} for i in range(count)
    ]
    return score_from_notes(notes, metre=metre, pickup_quarters=pickup)


def test_a_window_ends_with_the_note_arrived_at() -> None:
    window = excerpt(scale(16), Window(F(0), F(4)))
    assert window.landing_quarters == 4
    assert [note.onset_quarters for note in window.notes][-1] == 4


def test_a_pickup_counts_from_the_end_of_its_bar() -> None:
    score = scale(16, pickup=F(1))
    assert str(score.place(F(0))) == "pickup, beat 4"
    assert str(score.place(F(1))) == "bar 1, beat 1"


def test_six_eight_has_two_dotted_beats() -> None:
    score = scale(12, metre="6/8")
    assert score.bars[0].beats_quarters() == (F(0), F(3, 2))
    assert str(score.place(F(1, 2))) == "bar 1, the second eighth of beat 1"


def test_a_mistake_belongs_to_the_transition_it_arrives_in() -> None:
    window = excerpt(scale(16), Window(F(0), F(4)))
    into_two = window.transition_to(F(1, 2), Hands.RIGHT)
    assert (into_two.from_quarters, into_two.to_quarters) == (F(0), F(1))


def test_c_flat_four_is_key_59_and_b_sharp_three_is_key_60() -> None:
    """ISO 16 numbering: MIDI 60 is middle C."""
    assert Spelling("C", -1, 4).midi == 59
    assert Spelling("B", 1, 3).midi == 60


def test_places_name_bar_and_beat_also_of_the_landing() -> None:
    window = excerpt(scale(17), Window(F(4), F(8)))
    assert str(window.place_of(F(11, 2))) == "bar 2, the & of 2"
    assert str(window.place_of(F(8))) == "bar 3, beat 1"


def piece() -> Score:
    notes = [{"pitch": 60, "onset": i, "length": 1, "hand": "RH"} for i in range(13)]
    return score_from_notes(notes, pickup_quarters=1)


def stretch(
    bars: str | None = None, beats: str | None = None, hands: str = "both"
) -> tuple[F | int, F | int]:
    window = choose_window(piece(), bars=bars, beats=beats, hands=hands)
    return window.start_quarters, window.end_quarters


def test_nothing_said_is_the_whole_piece() -> None:
    assert stretch() == (0, 13)


def test_bars_by_their_printed_numbers() -> None:
    assert stretch("1-2") == (1, 9)
    assert stretch("0") == (0, 1)


def test_a_bar_by_its_place_in_the_piece() -> None:
    assert stretch("#1") == (0, 1)


def test_beats_of_the_first_and_the_last_bar() -> None:
    assert stretch("1-2", "3-2") == (3, 6)


def test_one_beat_lands_on_the_next() -> None:
    assert stretch("1", "2") == (2, 3)


def test_half_beats() -> None:
    assert stretch("1", "2 1/2-4") == (F(5, 2), 4)


def test_the_pickup_has_a_name() -> None:
    """As the screen says it: common practice."""
    assert stretch("pickup-1", "4-2") == stretch("0-1", "4-2")


def test_a_pickup_counts_from_its_bar_s_end() -> None:
    assert stretch("0-1", "4-2") == (0, 2)


@pytest.mark.parametrize(
    ("bars", "beats", "hands", "says"),
    [
        ("99", None, "both", "no bar 99; the piece has pickup to bar 3"),
        ("3-1", None, "both", "ends before it begins"),
        ("1", "9", "both", "no beat 9"),
        ("1", "x", "both", "not a beat"),
        ("1", None, "foot", "no hand"),
        ("1", None, "lh", "nothing for LH to strike there, nor after it"),
    ],
)
def test_what_is_not_there_is_said_in_a_sentence(
    bars: str, beats: str | None, hands: str, says: str
) -> None:
    with pytest.raises(WindowError, match=says):
        choose_window(piece(), bars=bars, beats=beats, hands=hands)


def test_where_nothing_is_struck_it_is_said_what_comes_next() -> None:
    held = Window(F(9, 4), F(5, 2), landing=False)  # all hold on there
    with pytest.raises(ValueError, match="either hand to strike there; what comes next is at bar"):
        excerpt(piece(), held)


def test_hands() -> None:
    assert choose_window(piece(), hands="RH").hands is Hands.RIGHT
