"""Opening a piece with hand moves: what was asked for last holds, and is kept."""

from pathlib import Path

import pytest

from coach.cli.open_score import open_piece
from coach.cli.score_library import samples_folder
from coach.score.hand_moves import load_moves
from coach.score.model import Hand
from coach.score.opening import score_key

SCORE = samples_folder() / "5-two-lamps.musicxml"
TO_LH, TO_RH = (f"bar 1 beat 1 staff 1 voice 2 to {hand}" for hand in ("LH", "RH"))


def hand_after(data: Path, *moves: str) -> Hand:
    score = open_piece(SCORE, moves, data=data)
    (note,) = (n for n in score.notes if n.bar_index == 0 and n.staff == 1 and n.voice == "2")
    return note.hand


def test_a_note_can_be_moved_there_and_back_as_often_as_the_pianist_likes(tmp_path: Path) -> None:
    assert hand_after(tmp_path) is Hand.RIGHT
    for move, hand in ((TO_LH, Hand.LEFT), (TO_RH, Hand.RIGHT), (TO_LH, Hand.LEFT)):
        assert hand_after(tmp_path, move) is hand
        assert hand_after(tmp_path) is hand
    assert len(load_moves(tmp_path, score_key(SCORE))) == 1


@pytest.mark.parametrize("impossible", ["file", "file/below"])
def test_a_score_opens_where_nothing_can_be_kept(tmp_path: Path, impossible: str) -> None:
    (tmp_path / "file").write_text("in the way")
    assert open_piece(SCORE, data=tmp_path / impossible).notes
