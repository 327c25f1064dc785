"""What is written into a piece: own fingerings and notes, kept with it and seen in it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from textual.widgets import Input

from coach.cli import main
from coach.cli.open_score import open_piece
from coach.record.pieces import piece_key
from coach.score.build import score_from_notes
from coach.score.formats import ScoreError
from coach.score.hand_moves import MoveError
from coach.score.markings import (
    add_markings,
    apply_markings,
    check_marking,
    is_marking,
    load_markings,
    markings_file,
    parse_marking,
    save_markings,
)
from coach.score.model import OwnNote, Score
from coach.screens.dialogs import WriteScreen
from tests.seat import Seat, seated, words_of

SAMPLE = Path(__file__).parent.parent / "sample_scores" / "1-low-tide.musicxml"
PIECE = score_from_notes(
    [
        {"pitch": pitch, "onset": at, "length": 1, "hand": "RH", "fingering": "5"}
        for at, pitch in enumerate((60, 62, 64, 65, 67, 65, 64, 62))
    ]
    + [
        {"pitch": pitch, "onset": at, "length": 4, "hand": "LH"}
        for at in (0, 4)
        for pitch in (48, 52, 55)
    ],
    metre="4/4",
)


def fingers(score: Score, *lines: str) -> dict[str, str]:
    """By note the fingers that these lines give it, where it is not the printed one."""
    marked = apply_markings(score, map(parse_marking, lines))
    return {
        f"{new.spelling.symbol} bar {new.bar_index + 1}": "".join(new.fingering)
        for old, new in zip(score.notes, marked.notes, strict=True)
        if old.fingering != new.fingering
    }


@pytest.mark.parametrize(
    ("line", "given"),
    [
        ("bar 1 beat 3 E4 finger 3", {"E4 bar 1": "3"}),
        ("bar 1 beat 1 LH fingers 5 2 1", {"C3 bar 1": "5", "E3 bar 1": "2", "G3 bar 1": "1"}),
        ("bar 2 beat 1 E3 finger 2", {"E3 bar 2": "2"}),
        ("bars 1-2 F4 finger 4", {"F4 bar 1": "4", "F4 bar 2": "4"}),
        ("bar #2 RH beat 4 finger 1", {"D4 bar 2": "1"}),
    ],
)
def test_a_fingering_goes_to_the_notes_that_its_line_names(
    line: str, given: dict[str, str]
) -> None:
    assert fingers(PIECE, line) == given
    marking = parse_marking(line)
    check_marking(PIECE, marking)
    assert parse_marking(str(marking)) == marking  # as it is kept


def test_a_note_is_on_its_bars_and_nowhere_else() -> None:
    marked = apply_markings(PIECE, [parse_marking("bar 2 note: Slower  than you think.")])
    own = OwnNote(
        PIECE.bars[1].onset_quarters, PIECE.end_quarters, "bar 2", "Slower than you think."
    )
    assert marked.own_notes == (own,)
    assert marked.own_notes_in(PIECE.bars[0].onset_quarters, PIECE.bars[0].end_quarters) == []
    assert marked.own_notes_in(PIECE.bars[0].onset_quarters, PIECE.end_quarters) == [own]
    assert replace(marked, own_notes=()) == PIECE


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("nonsense", "is neither a fingering nor a note"),
        ("bar 1 beat 1 finger 6", "is neither a fingering nor a note"),
        ("tomorrow finger 4", "names no notes"),
        ("bar 9 beat 1 C4 finger 1", "names bars that this score does not have"),
        ("bar 9 note Nothing.", "names bars that this score does not have"),
        ("bar 1 beat 1 B4 finger 1", "finds no note"),
        ("bar 1 beat 2 LH finger 1", "finds no note of that hand"),
        ("bar 1 beat 1 LH fingers 5 1", "has 2 fingers for 3 notes"),
    ],
)
def test_a_line_that_is_wrong_is_said_in_a_sentence(line: str, said: str) -> None:
    with pytest.raises(MoveError, match=said):
        check_marking(PIECE, parse_marking(line))
    if "neither" not in said and "names no" not in said:
        assert apply_markings(PIECE, [parse_marking(line)]) == PIECE  # of a score that has changed


def test_of_two_fingerings_for_the_same_notes_the_later_is_kept() -> None:
    lines = [
        "bar 1 beat 3 E4 finger 3",
        "bar 1 note A.",
        "bar 1 beat 3 E4 finger 2",
        "bar 1 note A.",
    ]
    kept = add_markings((), map(parse_marking, lines))
    assert [*map(str, kept)] == lines[2:]
    assert not is_marking("bar 3 beat 2 F4 to LH")


def test_they_are_kept_as_lines_that_can_be_changed_by_hand(tmp_path: Path) -> None:
    markings = [parse_marking("bar 1 beat 3 E4 finger 3"), parse_marking("bar 1 note Sing.")]
    save_markings(tmp_path, "key", markings, "Tune")
    file = markings_file(tmp_path, "key")
    assert file.read_text() == "// Tune\nbar 1 beat 3 E4 finger 3\nbar 1 note Sing.\n"
    assert not file.stat().st_mode & 0o077
    assert load_markings(tmp_path, "key") == tuple(markings)
    file.write_text("bar 1 beat 3 E4 fingr 3\n")
    with pytest.raises(ScoreError, match=r"^Your markings in .*key\.txt can't be used: "):
        load_markings(tmp_path, "key")
    save_markings(tmp_path, "key", ())
    assert load_markings(tmp_path, "key") == ()


def test_the_command_writes_lists_and_takes_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data, score = ["--data", str(tmp_path)], str(SAMPLE)
    first = open_piece(SAMPLE, data=tmp_path).notes[0]
    line = f"bar 1 beat 1 {first.spelling.symbol} finger 4"
    assert main(["mark", score, line, "bars 1-2 note Sing it first.", *data]) == 0
    assert capsys.readouterr().out == f"1. {line}\n2. bars 1-2 note Sing it first.\n"
    marked = open_piece(SAMPLE, data=tmp_path)
    assert marked.notes[0].fingering == ("4",)
    assert [one.words for one in marked.own_notes] == ["Sing it first."]
    assert piece_key(marked) == piece_key(open_piece(SAMPLE, data=tmp_path / "other"))
    assert main(["mark", score, "--remove", "1", *data]) == 0
    assert capsys.readouterr().out == "1. bars 1-2 note Sing it first.\n"
    assert main(["mark", score, "--remove", "7", *data]) == 2
    assert main(["mark", score, "bar 99 note None.", *data]) == 2
    assert "names bars that this score does not have" in capsys.readouterr().err


def test_a_note_is_engraved_over_its_bar() -> None:
    from coach.engraving import write_mei
    from coach.score.notation import write
    from coach.score.window import choose_window, excerpt

    marked = apply_markings(PIECE, [parse_marking("bars 1-2 note Sing."), parse_marking(
        "bar 1 beat 3 E4 finger 3")])  # fmt: skip
    for bars, shown in (("1", 1), ("2", 1)):
        part = excerpt(marked, choose_window(marked, bars=bars))
        text = write_mei(write(marked, part, lambda _, onsets: [""] * len(onsets)))
        assert text.count(">Sing.</dir>") == shown
        assert (">3</fing>" in text) is (bars == "1")


def test_in_the_drill_words_go_to_the_passage_in_sight_and_the_piece_is_opened_with_them() -> None:
    async def run(seat: Seat) -> None:
        await seat.pilot.press("i")
        await seat.until(WriteScreen)
        line = seat.app.screen.query_one(Input)
        line.value = "bar 77 note Nowhere."
        await seat.pilot.press("enter")
        assert "does not have" in seat.text
        line.value = "Sing it first."
        await seat.pilot.press("enter")
        await seat.opened(2)
        assert seat.staging.moves == ["bar #1 note Sing it first."]

    seated((80, 24), run)


def test_a_note_stands_beside_the_reason() -> None:
    from tests.screenfakes import FakeDrill, two_hands

    score = apply_markings(two_hands(), [parse_marking("bar 1 note Sing it first.")])

    async def run(seat: Seat) -> None:
        assert "Your note on bar 1: Sing it first." in words_of(seat)

    seated((80, 24), run, drill=FakeDrill(score))
