"""Moves, windows and tempi are said as a pianist finds them on the page."""

from dataclasses import replace
from fractions import Fraction as F

import pytest

from coach.coaching.wording import move_words, off_pace_words, run_up_words, stretch_words
from coach.judging.wording import describe_wrong_key
from coach.score.build import score_from_notes
from coach.score.model import Hands
from coach.score.window import Transition, Window
from tests.judging_help import whole
from tests.test_places import piece

RH, LH, BOTH = Hands.RIGHT, Hands.LEFT, Hands.TOGETHER


@pytest.mark.parametrize(
    ("move", "words"),
    [
        ((LH, 5, 6), "LH bar 2, beat 2 → 3"),
        ((RH, 7, 8), "RH bar 2, beat 4 → bar 3, beat 1"),
        ((BOTH, 0, 1), "both hands, bar 1, beat 1 → 2"),
    ],
)
def test_a_move(move: tuple[Hands, int, int], words: str) -> None:
    hands, start, end = move
    assert move_words(piece(), Transition(hands, F(start), F(end))) == words


HELD = [  # RH: a half note, an eighth rest, an eighth, a half note tied over; LH: quarters
    {"pitch": 72, "onset": 0, "length": 2, "hand": "RH"},
    {"pitch": 74, "onset": F(5, 2), "length": F(1, 2), "hand": "RH"},
    {"pitch": 76, "onset": 3, "length": 2, "hand": "RH"},
    {"pitch": 77, "onset": 5, "length": 3, "hand": "RH"},
    *({"pitch": 48, "onset": at, "length": 1, "hand": "LH"} for at in range(8)),
]


@pytest.mark.parametrize(
    ("move", "words"),
    [
        ((RH, 1, 2), "RH bar 1, beat 1 → 3"),  # the half note is left, not its second beat
        ((RH, 2, 3), "RH bar 1, beat 3 → 4"),  # a rest is on the beat
        ((RH, 4, 5), "RH bar 1, beat 4 → bar 2, beat 2"),  # tied over the barline
        ((LH, 1, 2), "LH bar 1, beat 2 → 3"),
        ((BOTH, 1, 2), "both hands, bar 1, beat 2 → 3"),
    ],
)
def test_a_move_begins_at_the_key_that_is_left(move: tuple[Hands, int, int], words: str) -> None:
    hands, start, end = move
    assert move_words(score_from_notes(HELD), Transition(hands, F(start), F(end))) == words


def test_a_window_s_first_note_is_named_alone_where_the_way_to_it_is_not_asked_for() -> None:
    score, move = score_from_notes(HELD), Transition(RH, F(2), F(3))
    assert move_words(score, move, Window(F(2), F(5), RH)) == "RH bar 1, beat 3 → 4"
    assert move_words(score, move, Window(F(3), F(5), RH)) == "RH bar 1, beat 4"
    held = Transition(RH, F(1), F(2))
    assert move_words(score, held, Window(F(1), F(5), RH)) == "RH bar 1, beat 3"


def test_nobody_is_told_to_begin_where_the_move_begins() -> None:
    score = score_from_notes(HELD)
    move = Transition(RH, F(1), F(2))
    assert run_up_words(score, Window(F(0), F(2), RH), move) == ""
    assert run_up_words(score, Window(F(0), F(2), LH), replace(move, hands=LH)) == (
        " Begin at beat 1."
    )


@pytest.mark.parametrize(
    ("stretch", "words"),
    [
        ((0, 4), "bar 1"),
        ((4, 16), "bars 2 to 4"),
        ((5, 7), "bar 2, beats 2 to 4"),
        ((6, 9), "bar 2, beat 3 to bar 3, beat 2"),
    ],
)
def test_a_stretch(stretch: tuple[int, int], words: str) -> None:
    low, high = stretch
    assert stretch_words(piece(), Window(F(low), F(high))) == words


def test_a_stretch_from_the_pickup() -> None:
    score = piece(9, pickup=1)
    assert stretch_words(score, Window(F(0), F(1))) == "pickup"
    assert stretch_words(score, Window(F(0), F(9))) == "pickup to bar 2"


def test_a_pickup_is_counted_as_the_beat_that_it_is() -> None:
    score = piece(9, pickup=1)
    move = Transition(RH, F(0), F(1))
    assert move_words(score, move) == "RH pickup, beat 4 → bar 1, beat 1"


@pytest.mark.parametrize(
    ("played", "asked", "beat", "words"),
    [
        (48, 96, F(1), "Clean at 48, where 96 was asked: on from there."),
        (112, 96, F(1), "That was at 112, where 96 was asked: no need to hurry."),
        # Dotted quarters, though one at 39 a minute by itself would be counted in eighths.
        (59, 84, F(3, 2), "Clean at 39, where 56 was asked: on from there."),
        (24, 36, F(1), "Clean at 48, where 72, counted in eighths, was asked: on from there."),
    ],
)
def test_a_tempo_that_was_not_asked_for_is_said_in_what_was_counted(
    played: float, asked: float, beat: F, words: str
) -> None:
    assert off_pace_words(played, asked, beat) == words


@pytest.mark.parametrize(
    ("fifths", "written", "played", "words"),
    [
        (-3, 70, 71, "B for B flat"),  # a flat forgotten, and no C flat
        (1, 66, 65, "F for F sharp"),
        (-3, 70, 69, "A for B flat"),
        (2, 74, 73, "C sharp for D"),
        (0, 60, 72, "C an octave too high"),
    ],
)
def test_a_wrong_key_is_named_as_it_was_thought(
    fifths: int, written: int, played: int, words: str
) -> None:
    notes = [
        {"pitch": pitch, "onset": at, "length": 1, "hand": "RH"}
        for at, pitch in enumerate((written, 67))
    ]
    part = whole(score_from_notes(notes, key_fifths=fifths))
    note = next(one for one in part.notes if one.pitch == written)
    assert describe_wrong_key(played, note, part) == words
