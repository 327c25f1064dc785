"""Ties: one note for what is struck once."""

from fractions import Fraction as F
from pathlib import Path

import pytest

from tests.scorexml import all_said, back, bar, note, opened, piano, rest


def test_a_tie_across_bars_is_one_note_with_its_pieces(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(note("C5", 4, tie="start")),
            bar(note("C5", 4, tie="stop start")),
            bar(note("C5", 1, tie="stop"), note("C5", 3)),
        ),
    )
    assert all_said(found) == ["C5 @0 9 s1", "C5 @9 3 s1"]
    assert found.notes[0].segments_quarters == (F(4), F(4), F(1))


def test_only_the_tied_member_of_a_chord_is_lengthened(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(note("C5", 4), note("E5", 4, chord=True, tie="start")),
            bar(note("D5", 2), note("E5", 2, chord=True, tie="stop"), note("E5", 2)),
        ),
    )
    assert all_said(found) == ["C5 @0 4 s1", "E5 @0 6 s1", "D5 @4 2 s1", "E5 @6 2 s1"]


def test_an_open_tie_leaves_the_note_its_own_length(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(bar(note("C5", 4, tie="start")), bar(note("C5", 2), note("C5", 2, tie="stop"))),
    )
    assert all_said(found) == ["C5 @0 4 s1", "C5 @4 2 s1", "C5 @6 2 s1"]


def test_a_note_left_to_ring_is_not_tied(tmp_path: Path) -> None:
    ring = '<tied type="let-ring"/>'
    found = opened(tmp_path, piano(bar(note("C5", 2, notations=ring), note("C5", 2))))
    assert all_said(found) == ["C5 @0 2 s1", "C5 @2 2 s1"]


def test_a_tie_only_drawn_is_a_tie(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(
                note("C5", 2, notations='<tied type="start"/>'),
                note("C5", 2, notations='<tied type="stop"/>'),
            )
        ),
    )
    assert all_said(found) == ["C5 @0 4 s1"]


def test_a_tie_may_change_its_voice_and_its_staff(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(note("C4", 4, tie="start"), back(4), note("E3", 4, v="5", s=2, tie="start")),
            bar(
                note("C4", 4, v="2", tie="stop"),
                back(4),
                note("E3", 4, v="1", s=1, tie="stop"),
            ),
        ),
    )
    assert all_said(found) == ["E3 @0 8 s2", "C4 @0 8 s1"]


def test_two_tied_voices_on_one_key_keep_apart(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(
                note("A4", 4, tie="start"),
                back(4),
                note("A4", 2, v="5", s=2, tie="start"),
                note("A4", 2, v="5", s=2, tie="stop start"),
            ),
            bar(note("A4", 1, tie="stop"), back(1), note("A4", 3, v="5", s=2, tie="stop")),
        ),
    )
    assert all_said(found) == ["A4 @0 5 s1", "A4 @0 7 s2"]


def test_a_tie_that_the_file_ends_before_it_begins(tmp_path: Path) -> None:
    # Voice 1 is written first although its note is the later half of the tie.
    found = opened(
        tmp_path,
        piano(
            bar(
                note("E5", 2), note("C5", 2, tie="stop"), back(4), note("C5", 2, v="2", tie="start")
            )
        ),
    )
    assert all_said(found) == ["C5 @0 4 s1", "E5 @0 2 s1"]


def test_an_enharmonic_tie_is_one_key(tmp_path: Path) -> None:
    found = opened(tmp_path, piano(bar(note("C#5", 2, tie="start"), note("Db5", 2, tie="stop"))))
    assert all_said(found) == ["C#5 @0 4 s1"]


def test_small_notes_tied_into_a_chord_are_the_chord_rolled(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(
                note("C4", grace="plain", tie="start"),
                note("E4", grace="plain", tie="start"),
                note("C4", 4, tie="stop"),
                note("E4", 4, chord=True, tie="stop"),
                note("G4", 4, chord=True),
            )
        ),
    )
    assert all_said(found) == ["C4 @0 4 s1", "E4 @0 4 s1", "G4 @0 4 s1"]
    assert ["arpeggio" in n.marks for n in found.notes] == [True, True, False]


def test_a_tied_chord_of_unequal_lengths_is_still_tied(tmp_path: Path) -> None:
    # As in music21's corpus, schubert/Lindenbaum.xml, bar 1: the exporter lost a dot.
    found = opened(
        tmp_path,
        piano(
            bar(
                note("E2", 3, s=2),
                note("B2", 2, s=2, chord=True, tie="start"),
            ),
            bar(note("B2", 1, s=2, tie="stop")),
            time="3/4",
        ),
    )
    assert all_said(found) == ["E2 @0 3 s2", "B2 @0 3 s2"]


def test_a_tie_over_the_barline_where_the_voice_stops_short(tmp_path: Path) -> None:
    # As in music21's corpus, beethoven/opus18no1/movement4.mxl, bar 229: another part is too long.
    found = opened(
        tmp_path,
        piano(
            bar(note("B4", 2, tie="start"), back(2), note("C3", 4, v="5", s=2)),
            bar(note("B4", 1, tie="stop")),
            time="2/4",
        ),
    )
    assert "B4 @0 3 s1" in all_said(found)
    assert found.bars[1].onset_quarters == 4


@pytest.mark.parametrize(
    ("gap", "said"),
    [(1, ["C5 @0 2 s1"]), (2, ["C5 @0 1 s1", "C5 @9/8 1 s1"])],
)
def test_tied_notes_may_miss_each_other_by_a_sixteenth_of_a_quarter(
    tmp_path: Path, gap: int, said: list[str]
) -> None:
    """As an exporter rounds; by more the first is left to ring and the second struck."""
    text = bar(note("C5", 16, tie="start"), rest(gap), note("C5", 16, tie="stop"), rest(16))
    assert all_said(opened(tmp_path, piano(text, divisions=16))) == said


def test_broken_chord_notes_that_are_tied_into_the_chord_are_not_struck_again(
    tmp_path: Path,
) -> None:
    """Each is tied from its own onset, over the notes that come between."""
    broken = [
        note("C4", 1, tie="start"), note("E4", 1, tie="start"), note("G4", 2),
        note("C4", 4, tie="stop"), note("E4", 4, tie="stop", chord=True),
    ]  # fmt: skip
    found = opened(tmp_path, piano(bar(*broken), divisions=2))
    assert all_said(found) == ["C4 @0 4 s1", "E4 @1/2 7/2 s1", "G4 @1 1 s1"]
    assert [sum(one.segments_quarters) for one in found.notes] == [4, F(7, 2), 0]


def test_a_tie_into_a_note_that_begins_while_the_first_is_held_is_one_strike(
    tmp_path: Path,
) -> None:
    held = [note("C4", 3, tie="start"), back(1), note("C4", 2, v="2", tie="stop")]
    assert all_said(opened(tmp_path, piano(bar(*held)))) == ["C4 @0 4 s1"]


def test_without_a_tie_the_same_key_is_struck_again(tmp_path: Path) -> None:
    again = [note("C4", 3), back(1), note("C4", 2, v="2")]
    assert all_said(opened(tmp_path, piano(bar(*again)))) == ["C4 @0 3 s1", "C4 @2 2 s1"]


def test_a_tie_is_not_taken_over_a_bar_that_has_no_end_of_it(tmp_path: Path) -> None:
    """Into a second ending: the first ending lies between, and the key has been let go."""
    found = opened(
        tmp_path,
        piano(
            bar(note("C4", 4, tie="start")),
            bar(note("D4", 4)),
            bar(note("C4", 4, tie="stop")),
        ),
    )
    assert all_said(found) == ["C4 @0 4 s1", "D4 @4 4 s1", "C4 @8 4 s1"]
