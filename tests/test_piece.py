"""A piece is known again by its notes."""

from dataclasses import replace

from coach.record.pieces import piece_key
from coach.score.model import Hand
from tests.records import SCORE


def test_names_fingerings_and_hands_do_not_change_a_piece() -> None:
    notes = tuple(
        replace(note, fingering=("1",), hand=Hand.RIGHT, id=f"x{i}")
        for i, note in enumerate(SCORE.notes)
    )
    edited = replace(SCORE, title="Renamed", composer="Ours", notes=notes)
    assert piece_key(edited).key == piece_key(SCORE).key
    assert piece_key(edited).title == "Renamed"


def test_another_note_or_another_metre_is_another_piece() -> None:
    first = SCORE.notes[0]
    changed = replace(SCORE, notes=(replace(first, pitch=first.pitch + 1), *SCORE.notes[1:]))
    assert piece_key(changed).key != piece_key(SCORE).key
    assert piece_key(replace(SCORE, bars=SCORE.bars * 2)).key != piece_key(SCORE).key


def test_an_untitled_piece_is_called_after_its_file() -> None:
    untitled = replace(SCORE, title="")
    assert piece_key(untitled, "folk/slow_tune.mid").title == "slow_tune"
    assert piece_key(untitled).title == "Untitled"
    assert piece_key(untitled, "slow_tune.mid").path.startswith("/")
