"""Hand moves are kept with the piece, as text."""

from pathlib import Path

import pytest

from coach.score.formats import ScoreError
from coach.score.hand_moves import load_moves, parse_move, save_moves
from coach.score.kept_lines import join_lines

KEY = "ab" * 32
MOVES = (parse_move("bars 5-8 voice 2 to RH"), parse_move("bar 9 split C4"))


def test_moves_are_kept_in_order(tmp_path: Path) -> None:
    save_moves(tmp_path / "data", KEY, MOVES, "rag.mxl")
    assert load_moves(tmp_path / "data", KEY) == MOVES
    assert load_moves(tmp_path / "data", "cd" * 32) == ()


def test_they_are_lines_that_a_pianist_can_read_and_change(tmp_path: Path) -> None:
    save_moves(tmp_path, KEY, MOVES, "rag.mxl")
    (file,) = (tmp_path / "hands").iterdir()
    text = file.read_text()
    assert text == "// Hand moves for rag.mxl\nbars 5-8 voice 2 to RH\nbar 9 split C4\n"
    file.write_text(text + "\n  bar 10 to LH  // the teacher's wish\n")
    assert load_moves(tmp_path, KEY) == (*MOVES, parse_move("bar 10 to LH"))


def test_none_at_all_leaves_nothing_behind(tmp_path: Path) -> None:
    save_moves(tmp_path, KEY, MOVES)
    save_moves(tmp_path, KEY, ())
    save_moves(tmp_path, KEY, ())
    assert list((tmp_path / "hands").iterdir()) == []


def test_what_was_kept_a_folder_deeper_is_still_read_and_moves_up_when_it_is_kept(
    tmp_path: Path,
) -> None:
    earlier = tmp_path / "hands" / "hands" / f"{KEY}.txt"
    earlier.parent.mkdir(parents=True)
    earlier.write_text("bars 5-8 voice 2 to RH\n")
    assert load_moves(tmp_path, KEY) == MOVES[:1]
    (tmp_path / "hands" / f"{KEY}.txt").write_text("bar 9 split C4\n")
    assert load_moves(tmp_path, KEY) == MOVES
    save_moves(tmp_path, KEY, MOVES)
    assert not earlier.exists()
    assert load_moves(tmp_path, KEY) == MOVES


def test_a_line_that_is_no_move_is_said_with_its_file(tmp_path: Path) -> None:
    save_moves(tmp_path, KEY, MOVES)
    file = tmp_path / "hands" / f"{KEY}.txt"
    file.write_bytes(b"nonsense \xff\n")
    with pytest.raises(ScoreError, match=r"^Your hand moves in .*ab\.txt cannot be used: .*\.$"):
        load_moves(tmp_path, KEY)


def test_a_folder_that_cannot_be_used_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "hands").write_text("a file where the folder should be")
    with pytest.raises(ScoreError, match=r"^Your hand moves cannot be kept in .*\.$"):
        save_moves(tmp_path, KEY, MOVES)
    with pytest.raises(ScoreError, match=r"^Your hand moves cannot be read in .*\.$"):
        load_moves(tmp_path, KEY)


def test_of_lines_from_two_machines_none_is_lost_and_those_here_hold(tmp_path: Path) -> None:
    here, theirs = tmp_path / "here" / "a.txt", tmp_path / "theirs.txt"
    theirs.write_text("// Rag\nbar 3 beat 2 F4 finger 4\nbar 9 note Sing.\n")
    join_lines(here, theirs)
    assert here.read_text() == theirs.read_text()
    here.write_text("bar 3 beat 2 F4 finger 2\nbar 9 note Sing.\n")
    for _ in range(2):
        join_lines(here, theirs)
        lines = here.read_text().splitlines()
        assert lines == [
            "// Rag",
            "bar 3 beat 2 F4 finger 4",
            "bar 3 beat 2 F4 finger 2",
            "bar 9 note Sing.",
        ]
