"""A place in a bar has one name, as players count it: no fraction, and no name twice."""

from __future__ import annotations

from fractions import Fraction as F

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.judging.judge import judge
from coach.judging.wording import place
from coach.playing.notes import PlayedNote
from coach.score.build import score_from_notes
from coach.score.metre import Metre
from coach.score.model import Score
from coach.score.window import Window, excerpt
from coach.score.words import name_in_bar
from scripts.judge_laws import FRACTION


def metre_of(text: str) -> Metre:
    beats, beat_type = map(int, text.split("/"))
    return Metre(beats, beat_type)


def names(metre: str, onsets: str) -> str:
    """What places so many quarters after the barline are called."""
    found = metre_of(metre)
    return ", ".join(name_in_bar(1 + F(o) / found.beat_quarters, found) for o in onsets.split())


@pytest.mark.parametrize(
    ("metre", "onsets", "said"),
    [
        ("4/4", "0 1 2 3", "beat 1, beat 2, beat 3, beat 4"),
        ("2/4", "1/2 3/2", "the & of 1, the & of 2"),
        ("3/4", "2 5/2", "beat 3, the & of 3"),
        ("4/4", "5/4 7/4", "the second sixteenth of beat 2, the last sixteenth of beat 2"),
        ("4/4", "1/8", "the second thirty-second of beat 1"),
        ("4/4", "3/8", "the fourth thirty-second of beat 1"),
        ("4/4", "15/16", "the last sixty-fourth of beat 1"),
        ("4/4", "1/3 2/3", "the second triplet of beat 1, the last triplet of beat 1"),
        ("4/4", "1/6 5/6", "the second of six in beat 1, the last of six in beat 1"),
        ("4/4", "6/5 9/5", "the second of five in beat 2, the last of five in beat 2"),
        ("4/4", "1/17 11/17 21/22", "the second of 17 in beat 1, the twelfth of 17 in beat 1, "
         "the last of 22 in beat 1"),
        ("2/2", "1 3/2", "the & of 1, the last eighth of beat 1"),
        ("3/8", "0 1/2 1", "beat 1, beat 2, beat 3"),
        ("3/8", "1/4 5/4 1/8", "the & of 1, the & of 3, the second thirty-second of beat 1"),
        ("3/16", "0 1/4 1/2", "beat 1, beat 2, beat 3"),
        ("6/8", "0 1/2 1 3/2", "beat 1, the second eighth of beat 1, the last eighth of beat 1, "
         "beat 2"),
        ("6/8", "1/4 3/4 5/4", "the second sixteenth of beat 1, the fourth sixteenth of beat 1, "
         "the last sixteenth of beat 1"),
        ("6/8", "3/8 9/8", "the second of four in beat 1, the last of four in beat 1"),
        ("9/8", "3 4", "beat 3, the last eighth of beat 3"),
        ("12/8", "9/2 11/2", "beat 4, the last eighth of beat 4"),
        ("6/4", "0 1 3", "beat 1, the second quarter of beat 1, beat 2"),
        ("5/8", "0 2 9/4", "beat 1, beat 5, the & of 5"),
        ("7/8", "3 13/4", "beat 7, the & of 7"),
    ],
)  # fmt: skip
def test_a_place_in_a_bar(metre: str, onsets: str, said: str) -> None:
    assert names(metre, onsets) == said


def bars(metre: str, onsets: list[F], pickup: F = F(0)) -> Score:
    """A piece with a note at each onset."""
    notes = [{"pitch": 60, "onset": on, "length": F(1, 8), "hand": "RH"} for on in onsets]
    return score_from_notes(notes, metre=metre, pickup_quarters=pickup)


def test_a_pickup_is_counted_to_its_barline() -> None:
    score = bars("3/4", [F(0), F(1, 2), F(1), F(2)], pickup=F(1))
    window = excerpt(score, Window(F(0), score.end_quarters))
    said = [place(window, onset) for onset in window.onsets_quarters]
    assert said == ["pickup beat 3", "pickup, the & of 3", "bar 1 beat 1", "bar 1 beat 2"]


def test_a_short_bar_is_counted_in_whole_beats() -> None:
    """A bar that ends in the middle of a beat divides that beat as any other."""
    score = bars("3/4", [F(0), F(1, 4), F(1, 2), F(1)], pickup=F(1, 2))
    window = excerpt(score, Window(F(0), score.end_quarters))
    said = [place(window, onset) for onset in window.onsets_quarters]
    assert said[:2] == ["pickup, the & of 3", "pickup, last sixteenth of beat 3"]
    assert said[2:] == ["bar 1 beat 1", "bar 1, the & of 1"]


_ONSETS = st.integers(1, 40).flatmap(lambda per: st.integers(0, 11 * per).map(lambda n: F(n, per)))
"""Quarters from 0 to 11. ``st.fractions`` with a largest denominator is many times slower."""


@pytest.mark.property
@given(
    metre=st.sampled_from(["2/4", "3/4", "4/4", "2/2", "3/8", "6/8", "9/8", "12/8", "5/8", "7/8"]),
    parts=st.lists(_ONSETS, min_size=2, max_size=12, unique=True),
    has_pickup=st.booleans(),
)
def test_no_place_is_called_by_a_fraction_and_no_two_alike(
    metre: str, parts: list[F], has_pickup: bool
) -> None:
    pickup = F(1, 2) if has_pickup else F(0)
    score = bars(metre, sorted(parts), pickup)
    window = excerpt(score, Window(F(0), score.end_quarters))
    said = [place(window, onset) for onset in window.onsets_quarters]
    assert not any(FRACTION.search(words) for words in said)
    assert len(set(said)) == len(said)


@pytest.mark.property
@given(
    metre=st.sampled_from(["2/4", "3/4", "3/8", "6/8", "9/8", "5/8", "7/8"]),
    each=st.sampled_from([F(1, 2), F(1, 4), F(1, 3), F(1, 8), F(1, 5)]),
    slips=st.lists(st.tuples(st.integers(0, 23), st.sampled_from(["-", "up", "late"])), max_size=4),
)
def test_no_sentence_has_a_fraction_or_more_words_than_are_read(
    metre: str, each: F, slips: list[tuple[int, str]]
) -> None:
    rows = [
        {"pitch": 60 + 7 * i % 12, "onset": i * each, "length": each, "hand": "RH"}
        for i in range(24)
    ]
    score = score_from_notes(rows, metre=metre)
    window = excerpt(score, Window(F(0), score.end_quarters))
    of = dict(slips)
    keys = [
        PlayedNote(
            note.pitch + (of.get(i) == "up"),
            64,
            1.0 + 0.2 * i + 0.3 * sum(at <= i for at, slip in of.items() if slip == "late"),
            0.15,
        )
        for i, note in enumerate(window.notes)
        if of.get(i) != "-"
    ]
    judgement = judge(window, keys)
    assert len(judgement.sentence.split()) <= 12
    for line in (judgement.sentence, *judgement.details, *judgement.notices):
        assert not FRACTION.search(line)
