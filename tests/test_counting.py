"""Counting syllables, against the published systems."""

from fractions import Fraction as F

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.score.build import score_from_notes
from coach.score.counting import CountingSystem, syllables

TRADITIONAL, EASTMAN, TAKADIMI = CountingSystem


def count(
    onsets: str, system: CountingSystem = TRADITIONAL, metre: str = "4/4", pickup: F = F(0)
) -> str:
    """The syllables under onsets given in quarters from the first bar's start."""
    at = [F(onset) for onset in onsets.split()]
    score = score_from_notes(
        [{"pitch": 60, "onset": onset, "length": F(1, 4), "hand": "RH"} for onset in sorted(at)],
        metre=metre,
        pickup_quarters=pickup,
    )
    return " ".join(syllables(score, at, system))


def beat(parts: int, start: int = 1) -> str:
    """A beat of a simple metre, in so many parts."""
    return " ".join(str(start + F(i, parts)) for i in range(parts))


# The three worked examples of the trade (common practice).


@pytest.mark.outside
def test_four_sixteenths_on_beat_two() -> None:
    assert count(beat(4)) == "2 e & a"


@pytest.mark.outside
def test_a_triplet_on_beat_three() -> None:
    assert count(beat(3, start=2)) == "3 la li"


@pytest.mark.outside
def test_a_bar_of_six_eight() -> None:
    assert count("0 1/2 1 3/2 2 5/2", metre="6/8") == "1 la li 2 la li"


# Eastman: n te, n ti te ta, n la li, n ta la ta li ta (mramusicplace.net).


@pytest.mark.outside
@pytest.mark.parametrize(
    ("parts", "said"),
    [(1, "2"), (2, "2 te"), (4, "2 ti te ta"), (3, "2 la li"), (6, "2 ta la ta li ta")],
)
def test_eastman(parts: int, said: str) -> None:
    assert count(beat(parts), EASTMAN) == said


@pytest.mark.outside
def test_eastman_sixteenths_in_six_eight() -> None:
    assert count("0 1/4 1/2 3/4 1 5/4", EASTMAN, "6/8") == "1 ta la ta li ta"


# Takadimi: Hoffman, Pelto and White 1996; five and seven parts from memory.


@pytest.mark.outside
@pytest.mark.parametrize(
    ("parts", "said"),
    [
        (1, "ta"),
        (2, "ta di"),
        (4, "ta ka di mi"),
        (3, "ta ki da"),
        (6, "ta va ki di da ma"),
        (5, "ta ka di mi ti"),
        (7, "ta va ki di da ma ti"),
    ],
)
def test_takadimi(parts: int, said: str) -> None:
    assert count(beat(parts), TAKADIMI) == said


@pytest.mark.outside
def test_takadimi_in_compound_metre() -> None:
    assert count("0 1/2 1 3/2 7/4 2 9/4 5/2 11/4", TAKADIMI, "6/8") == "ta ki da ta va ki di da ma"


@pytest.mark.parametrize("system", [TRADITIONAL, EASTMAN])
@pytest.mark.parametrize("parts", [5, 7, 9, 11])
def test_an_odd_tuplet_has_its_number_and_then_ta(system: CountingSystem, parts: int) -> None:
    said = count(beat(parts), system).split()
    unnamed = [s for i, s in enumerate(said) if i and F(i, parts).denominator != 3]
    assert said[0] == "2"
    assert set(unnamed) == {"ta"}


def test_thirty_seconds_traditionally() -> None:
    # Common practice.
    assert count(beat(8)) == "2 ta e ta & ta a ta"


def test_takadimi_counts_thirty_seconds_by_half_beats() -> None:
    assert count(beat(8), TAKADIMI) == "ta ka di mi ta ka di mi"


def test_takadimi_counts_nine_by_thirds() -> None:
    assert count(beat(9), TAKADIMI) == "ta ki da ta ki da ta ki da"


# What syncopation leaves out is left out; the rest keeps its place.


@pytest.mark.parametrize(
    ("onsets", "said"),
    [
        ("0 1/2 3/2 5/2 3", "1 & & & 4"),
        ("0 3/4 1", "1 a 2"),
        ("1/4 1/2", "e &"),
        ("1/3 2/3", "la li"),
        ("0 2/3 4/3 2", "1 li la 3"),
        ("0 3/2", "1 &"),
    ],
)
def test_offbeats(onsets: str, said: str) -> None:
    assert count(onsets) == said


def test_three_against_two_keeps_both() -> None:
    assert count("0 1/3 1/2 2/3") == "1 la & li"
    assert count("0 1/3 1/2 2/3", EASTMAN) == "1 la te li"


def test_four_against_three_keeps_both() -> None:
    assert count("0 1/4 1/3 1/2 2/3 3/4") == "1 e la & li a"


def test_part_of_a_sextuplet_is_counted_in_sixths() -> None:
    assert count("0 1/2 2/3 5/6") == "1 ta li ta"


def test_each_beat_divides_for_itself() -> None:
    assert count("0 1/2 1 4/3 5/3 2 9/4 5/2 11/4 3") == "1 & 2 la li 3 e & a 4"


def test_a_dotted_figure_in_six_eight() -> None:
    # Dotted eighth, sixteenth, eighth: the sixteenth is the fourth sixth of the beat.
    assert count("0 3/4 1", metre="6/8") == "1 ta li"


def test_a_duplet_in_six_eight_is_two_halves() -> None:
    assert count("0 3/4", metre="6/8") == "1 &"
    assert count("0 3/4", TAKADIMI, "6/8") == "ta di"


def test_a_quadruplet_in_six_eight() -> None:
    assert count("0 3/8 3/4 9/8", metre="6/8") == "1 e & a"


def test_thirty_seconds_in_six_eight() -> None:
    onsets = " ".join(str(F(i, 8)) for i in range(12))
    assert count(onsets, EASTMAN, "6/8") == "1 ta ta ta la ta ta ta li ta ta ta"
    assert count(onsets, TAKADIMI, "6/8") == "ta ka di mi ta ka di mi ta ka di mi"


@pytest.mark.parametrize(
    ("metre", "onsets", "said"),
    [
        ("9/8", "0 3/2 2 5/2 3", "1 2 la li 3"),
        ("12/8", "0 3/2 3 9/2 5", "1 2 3 4 la"),
        ("3/8", "0 1/2 1", "1 2 3"),
        ("2/2", "0 1 2 3", "1 & 2 &"),
        ("5/8", "0 1/2 1 3/2 2", "1 2 3 4 5"),
        ("7/8", "0 1/4 3", "1 & 7"),
        ("3+2/8", "0 1/2 1 3/2 2", "1 2 3 4 5"),
        ("3/4", "0 1 2", "1 2 3"),
    ],
)
def test_the_metre_gives_the_beat(metre: str, onsets: str, said: str) -> None:
    assert count(onsets, metre=metre) == said


def test_a_pickup_counts_from_the_end_of_its_bar() -> None:
    assert count("0 1/2 1 2", pickup=F(1)) == "4 & 1 2"
    assert count("0 1/2 1", metre="6/8", pickup=F(1, 2)) == "li 1 la"
    assert count("0 1/2 3/2", metre="3/4", pickup=F(3, 2)) == "& 3 1"


def test_an_exporters_rounding_is_still_a_triplet() -> None:
    assert count("0 3333/10000 6667/10000") == "1 la li"


def test_the_order_and_repeats_given_are_kept() -> None:
    assert count("1 0 1/2 1/2") == "2 1 & &"


parts = st.fractions(min_value=0, max_value=16, max_denominator=13)


@pytest.mark.property
@settings(max_examples=60)
@given(st.lists(parts, min_size=1, max_size=20), st.sampled_from(CountingSystem))
def test_every_onset_has_a_syllable_and_only_beats_have_numbers(
    onsets: list[F], system: CountingSystem
) -> None:
    said = count(" ".join(map(str, onsets)), system).split()
    assert len(said) == len(onsets)
    for onset, syllable in zip(onsets, said, strict=True):
        on_beat = onset.denominator == 1
        assert syllable.isdigit() == (on_beat and system is not TAKADIMI)
