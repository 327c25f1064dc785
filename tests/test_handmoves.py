"""A line moves notes to the other hand."""

from dataclasses import replace
from fractions import Fraction as F
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.score.build import score_from_notes
from coach.score.hand_moves import (
    HandMove,
    MoveError,
    add_moves,
    apply,
    check,
    parse_move,
    select_notes,
)
from coach.score.model import Hand, Score
from coach.score.pitch import Spelling
from coach.score.window import choose_window

RH, LH = Hand.RIGHT, Hand.LEFT


def piece() -> Score:
    """Four bars of 4/4: a falling line in the right hand, one note a beat, over a bass note.

    Voice 2 (the offbeats) lies on the upper staff.
    """
    notes = [
        {"pitch": 72 - i, "onset": i, "length": 1, "hand": "RH", "id": f"r{i}", "voice": "1"}
        for i in range(16)
    ]
    notes += [
        {"pitch": 65, "onset": i + F(1, 2), "length": F(1, 2), "hand": "RH", "id": f"v{i}"}
        | {"voice": "2"}
        for i in range(16)
    ]
    notes += [
        {"pitch": 48, "onset": 4 * i, "length": 4, "hand": "LH", "id": f"l{i}", "voice": "5"}
        for i in range(4)
    ]
    return score_from_notes(notes)


def moved(*lines: str, score: Score | None = None) -> str:
    """Ids of the notes that change hands."""
    before = score or piece()
    after = apply(before, map(parse_move, lines))
    pairs = zip(before.notes, after.notes, strict=True)
    return " ".join(old.id for old, new in pairs if old.hand is not new.hand)


@pytest.mark.parametrize(
    ("line", "ids"),
    [
        ("bar 1 beat 2 B4 to LH", "r1"),
        ("bar 1 beat 2 to LH", "r1"),
        ("bar 1 beat 2 C#4 to LH", ""),
        ("bar 2 beat 4 1/2 F4 to LH", "v7"),
        ("bar 2 beat 4.5 to LH", "v7"),
        ("bar 2 beat 4+1/2 to LH", "v7"),
        ("bar 4 to RH", "l3"),
        ("bars 3-4 to RH", "l2 l3"),
        ("bar 2 voice 2 to LH", "v4 v5 v6 v7"),
        ("bar 2 staff 1 voice 2 to LH", "v4 v5 v6 v7"),
        ("bar 2 voice 2 staff 2 to LH", ""),
        ("bars 4-4 above F4 to LH", ""),
        ("bar 4 below Eb4 to LH", "r12 r13 r14 r15"),
        ("bar 1 above A4 below C5 to LH", "r1 r2"),
        ("bar 1 staff 1 beat 2 to LH", "r1"),
        ("bar 1 B4 voice 1 beat 2 to LH", "r1"),
        ("bar 1 split Bb4", "v0 v1 v2 r3 v3"),
        ("bar 1 split at C3", "l0"),
        ("all bars staff 2 to RH", "l0 l1 l2 l3"),
        ("bar #1 beat 1 C5 to LH", "r0"),
        ("bars #2-#3 staff 2 to RH", "l1 l2"),
    ],
)
def test_what_a_line_moves(line: str, ids: str) -> None:
    assert moved(line) == ids


def test_moves_follow_one_another() -> None:
    assert moved("bar 1 to LH", "bar 1 voice 1 to RH") == "v0 v1 v2 v3"


def test_a_voice_goes_to_the_hand_of_its_home_staff() -> None:
    score = piece()
    crossing = {"v3", "r2"}  # written on the lower staff, and so given to the left hand
    notes = tuple(replace(n, staff=2, hand=LH) if n.id in crossing else n for n in score.notes)
    assert moved("all bars to home staff", score=replace(score, notes=notes)) == "r2 v3"
    assert moved("bar 2 to home staff", score=replace(score, notes=notes)) == ""


def test_what_was_moved_is_no_guess_any_more() -> None:
    guessed = tuple(replace(note, hand_is_guess=True) for note in piece().notes)
    score = apply(replace(piece(), notes=guessed), [parse_move("bar 1 voice 1 to RH")])
    assert {n.id for n in score.notes if not n.hand_is_guess} == {"r0", "r1", "r2", "r3"}


def test_each_move_is_told_also_where_it_finds_nothing() -> None:
    score = apply(piece(), [parse_move("bar 1 to left hand"), parse_move("bar 99 to RH")])
    assert [remark.text for remark in score.remarks] == [
        "Hands as you asked: bar 1 to LH (9 notes).",
        'The hand move "bar 99 to RH" finds no note.',
    ]


def numbered(*numbers: str) -> Score:
    score = piece()
    bars = zip(score.bars, numbers, strict=True)
    return replace(score, bars=tuple(replace(bar, number=number) for bar, number in bars))


def test_bars_are_named_as_printed() -> None:
    score = numbered("0", "X1", "X1", "8a")
    assert moved("bar 0 staff 2 to RH", score=score) == "l0"
    assert moved("bar X1 staff 2 to RH", score=score) == "l1 l2"
    assert moved("bars X1-8a staff 2 to RH", score=score) == "l1 l2 l3"
    assert moved("bars 8a–0 staff 2 to RH", score=score) == ""


def test_a_pickups_beats_count_from_the_end_of_its_bar() -> None:
    score = score_from_notes(
        [{"pitch": 60, "onset": i, "length": 1, "hand": "RH", "id": str(i)} for i in range(3)],
        pickup_quarters=1,
    )
    assert moved("bar 0 beat 4 to LH", score=score) == "0"
    assert moved("bar 1 beat 2 to LH", score=score) == "2"


@pytest.mark.parametrize(
    "line",
    [
        "",
        "bar 1",
        "bar 1 to both",
        "bars to LH",
        "voice 2 to LH",
        "bar 1 beat 1/0 to LH",
        "bar 1 beat 1 1/0 to LH",
        "bar 1 H4 to LH",
        "bar 1 split C4 to LH",
        "bars 1-2 staff x to LH",
        "bar 1 beat 2 beat 3 to LH",
        "bar 1 staff 1 voice 2 staff 2 to LH",
    ],
)
def test_a_line_that_is_no_move_is_one_sentence(line: str) -> None:
    with pytest.raises(MoveError, match=r"^\".*\" (is not a hand move:|names a beat).*\.$"):
        parse_move(line)


def test_a_move_can_be_checked_against_the_score() -> None:
    check(piece(), parse_move("bar 4 to LH"))
    with pytest.raises(MoveError, match=r"that this score does not have: its last is bar 4\.$"):
        check(piece(), parse_move("bars 4-9 to LH"))
    with pytest.raises(MoveError, match="ends before it begins: name the earlier bar first"):
        check(piece(), parse_move("bars 4-2 to LH"))
    with pytest.raises(MoveError, match="finds no note"):
        check(piece(), parse_move("bar 1 voice 7 to LH"))


spellings = st.builds(Spelling, st.sampled_from("CDEFGAB"), st.integers(-2, 2), st.integers(-1, 9))
names = st.sampled_from(["1", "12", "X1", "#1", "8a"])
places: st.SearchStrategy[dict[str, Any]] = st.fixed_dictionaries(
    {},
    optional={
        "first_bar": names,
        "beat": st.fractions(1, 12, max_denominator=12),
        "staff": st.integers(1, 3),
        "voice": st.sampled_from(["1", "2", "RH"]),
        "above": spellings,
        "below": spellings,
    },
)
whither: st.SearchStrategy[dict[str, Any]] = st.one_of(
    st.fixed_dictionaries({"hand": st.sampled_from(Hand)}, optional={"pitch": spellings}),
    st.fixed_dictionaries({"hand": st.none(), "split": spellings}),
    st.fixed_dictionaries({"hand": st.none(), "home_staff": st.just(True)}),
)


@pytest.mark.property
@given(places, whither, names)
def test_a_move_reads_back_as_it_is_written(
    place: dict[str, Any], goal: dict[str, Any], last: str
) -> None:
    move = HandMove(**place, **goal)
    if move.first_bar:
        move = replace(move, last_bar=last)
    assert parse_move(str(move)) == move


@pytest.mark.property
@given(places, whither)
def test_a_move_changes_hands_and_nothing_else(place: dict[str, Any], goal: dict[str, Any]) -> None:
    score, move = piece(), HandMove(**place, **goal)
    after = apply(score, [move])
    chosen = {note.id for note in select_notes(score, move)}
    for old, new in zip(score.notes, after.notes, strict=True):
        assert replace(new, hand=old.hand) == old
        assert new.hand is old.hand or old.id in chosen
    assert apply(after, [move]).notes == after.notes


def test_a_bar_named_by_its_place_is_the_one_that_a_window_so_named_begins_with() -> None:
    """``--move`` and ``--bars`` stand in one command line: the same name is the same bar."""
    score = piece()
    window = choose_window(score, bars="#3")
    (bass,) = select_notes(score, parse_move("bar #3 staff 2 to RH"))
    assert bass.onset_quarters == window.start_quarters


@pytest.mark.parametrize(
    ("moves", "by", "left"),
    [
        (["bar 1 to LH"], ["bar 1 to RH"], ["bar 1 to RH"]),
        (["bar 1 to LH", "bar 1 to RH"], ["bar 1 to LH"], ["bar 1 to LH"]),
        (["bar 1 to LH", "bar 2 to LH"], ["bar 1 to LH"], ["bar 2 to LH", "bar 1 to LH"]),
        (["bar 1 split C4"], ["bar 1 to RH"], ["bar 1 to RH"]),
        (["bar 1 voice 1 to LH"], ["bar 1 to RH"], ["bar 1 voice 1 to LH", "bar 1 to RH"]),
        (["bar 1 to LH"], ["bar 1 to home staff"], ["bar 1 to LH", "bar 1 to home staff"]),
    ],
)
def test_the_last_move_of_a_note_is_the_one_that_holds(
    moves: list[str], by: list[str], left: list[str]
) -> None:
    """To the left, back, and to the left again: the third is not the first, long overruled."""
    after = add_moves([parse_move(one) for one in moves], [parse_move(one) for one in by])
    assert [str(move) for move in after] == left
    every = [parse_move(one) for one in (*moves, *by)]
    assert apply(piece(), after).notes == apply(piece(), every).notes
