"""The window holds what it should, and ends with the note arrived at."""

from fractions import Fraction as F

from coach.score.build import score_from_notes
from coach.score.model import Hands, Score
from coach.score.pitch import Spelling
from coach.score.window import Window, excerpt


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
