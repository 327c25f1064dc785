"""A score goes to plain data and comes back as the same score."""

import json
from dataclasses import replace
from fractions import Fraction as F
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coach.score.build import score_from_notes
from coach.score.metre import Metre
from coach.score.model import (
    Bar,
    Clef,
    Direction,
    Grace,
    Hand,
    NoteMark,
    Remark,
    Score,
    ScoreNote,
    TempoMark,
)
from coach.score.pitch import Spelling
from coach.score.serialize import score_from_plain, score_to_plain

fractions = st.fractions(min_value=0, max_value=10**6, max_denominator=100_000)
words = st.text(max_size=8)
notes = st.builds(
    ScoreNote,
    id=words,
    pitch=st.integers(0, 127),
    spelling=st.builds(
        Spelling, st.sampled_from("CDEFGAB"), st.integers(-2, 2), st.integers(-1, 9)
    ),
    onset_quarters=fractions,
    length_quarters=fractions,
    staff=st.integers(1, 4),
    hand=st.sampled_from(Hand),
    voice=words,
    bar_index=st.integers(0, 500),
    fingering=st.lists(words, max_size=3).map(tuple),
    grace=st.none() | st.sampled_from(Grace),
    marks=st.frozensets(st.sampled_from(NoteMark)),
    segments_quarters=st.lists(fractions, max_size=3).map(tuple),
    grace_quarters=fractions,
    has_printed_sign=st.booleans(),
    beams_to_next=st.lists(st.integers(0, 6), max_size=3).map(tuple),
    octave_shift=st.integers(-2, 2),
    hand_is_guess=st.booleans(),
)
metres = st.builds(
    Metre, st.integers(1, 16), st.sampled_from([2, 4, 8]), st.just(()) | st.just((3, 2))
)
bars = st.builds(
    Bar, st.integers(0, 9), words, fractions, fractions, metres, st.integers(-7, 7), fractions
)
scores = st.builds(
    Score,
    title=words,
    bars=st.lists(bars, max_size=4).map(tuple),
    notes=st.lists(notes, max_size=12).map(tuple),
    composer=words,
    clefs=st.lists(st.builds(Clef, st.integers(1, 2), fractions, words, st.integers(1, 5))).map(
        tuple
    ),
    tempos=st.lists(st.builds(TempoMark, fractions, st.floats(1, 400), words)).map(tuple),
    directions=st.lists(st.builds(Direction, fractions, st.integers(1, 2), words)).map(tuple),
    remarks=st.lists(st.builds(Remark, words, words)).map(tuple),
    source=words,
)


@pytest.mark.property
@settings(max_examples=20, suppress_health_check=[HealthCheck.too_slow])
@given(scores)
def test_every_score_comes_back_equal_through_json(score: Score) -> None:
    back = score_from_plain(json.loads(json.dumps(score_to_plain(score))))
    assert back == score
    assert back.source == score.source


def scale() -> Score:
    return score_from_notes(
        [
            {"pitch": 60 + i, "onset": F(i, 3), "length": F(1, 3), "hand": "RH", "fingering": "1"}
            for i in range(12)
        ]
    )


def test_the_types_come_back_too() -> None:
    back = score_from_plain(json.loads(json.dumps(score_to_plain(scale()))))
    note = back.notes[1]
    assert isinstance(note.onset_quarters, F)
    assert isinstance(note.hand, Hand)
    assert isinstance(note.marks, frozenset)
    assert isinstance(back.tempos[0].qpm, float)
    assert note.spelling.symbol == "C#4"


def test_a_fraction_is_written_as_a_musician_reads_it() -> None:
    columns = score_to_plain(scale())["notes"]["columns"]
    assert columns["onset_quarters"][:4] == [0, "1/3", "2/3", 1]
    assert columns["length_quarters"] == {"each": ["1/3"]}


def test_a_set_of_marks_is_always_written_in_one_order() -> None:
    first = replace(
        scale().notes[0], marks=frozenset({NoteMark.ACCENT, NoteMark.TENUTO, NoteMark.TRILL})
    )
    columns = score_to_plain(replace(scale(), notes=(first,)))["notes"]["columns"]
    assert columns["marks"] == [["accent", "tenuto", "trill"]]


def damaged(path: str, value: object) -> dict[str, Any]:
    data: dict[str, Any] = json.loads(json.dumps(score_to_plain(scale())))
    *way, last = path.split(".")
    inner = data
    for key in way:
        inner = inner[key]
    inner[last] = value
    return data


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("format", 999),
        ("title", 7),
        ("notes", None),
        ("notes.rows", 3),
        ("notes.columns.pitch", ["60"] * 12),
        ("notes.columns.pitch", [60] * 11),
        ("notes.columns.onset_quarters", ["1/0"] * 12),
        ("notes.columns.onset_quarters", ["soon"] * 12),
        ("notes.columns.hand", {"each": ["third hand"]}),
        ("notes.columns.voice", {"each": ["1", "2"], "at": [5] * 12}),
        ("bars.columns", {}),
    ],
)
def test_damaged_data_is_a_value_error(path: str, value: object) -> None:
    with pytest.raises(ValueError, match=r".+"):
        score_from_plain(damaged(path, value))
