"""Where every note stands, how long it is: the traps of real MusicXML files, one by one."""

from fractions import Fraction
from pathlib import Path

import pytest

from coach.score.model import Grace, Hand
from tests.scorexml import (
    all_said,
    attributes,
    back,
    bar,
    direction,
    metre,
    note,
    on,
    opened,
    part,
    piano,
    rest,
    score,
)

PICKUP = piano(
    bar(
        note("G4", 2),
        back(2),
        rest(2, v="5", s=2),
        number="0",
        implicit=True,
    ),
    bar(
        note("C5", 4),
        note("E5", 4, chord=True),
        note("D5", 4, tie="start"),
        back(8),
        note("C3", 8, v="5", s=2),
        number="1",
    ),
    bar(
        note("D5", 2, tie="stop"),
        note("B4", grace="slash"),
        note("C5", 6),
        back(8),
        note("C2", 8, v="5", s=2),
        number="2",
    ),
    divisions=2,
)


@pytest.mark.outside
def test_pickup_tie_chord_and_grace(tmp_path: Path) -> None:
    # MusicXML 4.0 (w3c/musicxml, schema/musicxml.xsd). Onsets from the first downbeat, as
    # music21 and partitura both give them: -1, 0, 0, 0, 2, 4, 5 (grace), 5.
    found = opened(tmp_path, PICKUP)
    onsets = sorted(n.onset_quarters - 1 for n in found.notes)
    assert onsets == [-1, 0, 0, 0, 2, 4, 5, 5]
    tied = next(n for n in found.notes if n.spelling.symbol == "D5")
    assert tied.length_quarters == 3
    assert tied.segments_quarters == (Fraction(2), Fraction(1))
    assert sum(n.grace is None for n in found.notes) == 7
    assert {n.hand for n in found.notes if n.staff == 1} == {Hand.RIGHT}
    assert {n.hand for n in found.notes if n.staff == 2} == {Hand.LEFT}
    assert [b.number for b in found.bars] == ["0", "1", "2"]
    assert str(found.place(Fraction(0))) == "pickup, beat 4"
    assert found.bars[0].lead_quarters == 3


def test_chord_notes_keep_their_own_staff(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(bar(note("C3", 4, s=2), note("G4", 4, s=1, chord=True), note("E5", 4, chord=True))),
    )
    assert all_said(found) == ["C3 @0 4 s2", "G4 @0 4 s1", "E5 @0 4 s1"]


def test_chord_notes_without_voice_or_staff_are_in_their_chord(tmp_path: Path) -> None:
    found = opened(
        tmp_path, piano(bar(note("C3", 4, s=2, v="5"), note("G3", 4, s=None, v="", chord=True)))
    )
    assert [(n.staff, n.voice) for n in found.notes] == [(2, "5"), (2, "5")]


def test_a_staff_without_staves_still_gives_hands(tmp_path: Path) -> None:
    text = score(
        (
            "Piano",
            part(
                bar(
                    attributes(metre("4/4"), divisions=1),
                    note("C5", 4),
                    back(4),
                    note("C3", 4, s=2),
                )
            ),
        )
    )
    assert [n.hand for n in opened(tmp_path, text).notes] == [Hand.LEFT, Hand.RIGHT]


def test_voices_backup_and_forward(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(
                note("C5", 4),
                back(4),
                on(1),
                note("E4", 2, v="2"),
                back(3),
                rest(2, v="5", s=2, hidden=True),
                note("C3", 2, v="5", s=2),
            )
        ),
    )
    assert all_said(found) == ["C5 @0 4 s1", "E4 @1 2 s1", "C3 @2 2 s2"]
    assert [n.voice for n in found.notes] == ["1", "2", "5"]


def test_divisions_change_inside_a_bar(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(
                note("C5", 2),
                attributes(divisions=6),
                note("D5", 3),
                note("E5", 3),
                attributes(divisions=1),
                note("F5", 2),
            ),
            divisions=2,
        ),
    )
    assert all_said(found) == ["C5 @0 1 s1", "D5 @1 1/2 s1", "E5 @3/2 1/2 s1", "F5 @2 2 s1"]


def test_decimal_durations(tmp_path: Path) -> None:
    found = opened(tmp_path, piano(bar(note("C5", "1.5"), note("D5", "2.5"))))
    assert all_said(found) == ["C5 @0 3/2 s1", "D5 @3/2 5/2 s1"]


def test_grace_chord_in_written_order_before_the_main_note(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(
                note("C5", 1),
                note("G5", grace="slash"),
                note("E5", grace="slash"),
                note("C5", grace="slash", chord=True),
                note("D5", 3),
            )
        ),
    )
    assert all_said(found)[1:] == [
        "G5 @1 grace s1",
        "E5 @1 grace s1",
        "C5 @1 grace s1",
        "D5 @1 3 s1",
    ]
    assert {n.grace for n in found.notes[1:4]} == {Grace.BEFORE}


def test_small_notes_at_the_end_of_a_bar_belong_to_the_note_before(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(note("D5", 4), note("C5", grace="plain"), note("D5", grace="plain")),
            bar(note("C5", 4)),
        ),
    )
    small = [n for n in found.notes if n.grace]
    assert [n.grace for n in small] == [Grace.AFTER, Grace.AFTER]
    assert [(n.bar_index, n.onset_quarters) for n in small] == [(0, Fraction(4)), (0, Fraction(4))]


def test_the_ending_of_a_trill_belongs_to_the_trill(tmp_path: Path) -> None:
    trill = "<ornaments><trill-mark/></ornaments>"
    found = opened(
        tmp_path,
        piano(
            bar(
                note("D5", 2, notations=trill),
                note("C5", grace="plain"),
                note("D5", grace="plain"),
                note("C5", 2),
            )
        ),
    )
    assert [n.grace for n in found.notes if n.grace] == [Grace.AFTER, Grace.AFTER]


def test_nested_tuplets_are_exact(tmp_path: Path) -> None:
    # A triplet of quarters in a half; its middle quarter is again a triplet of eighths.
    found = opened(
        tmp_path,
        piano(
            bar(
                note("C5", 6, looks="quarter", tuplet=(3, 2)),
                note("D5", 2, looks="eighth", tuplet=(9, 4)),
                note("E5", 2, looks="eighth", tuplet=(9, 4)),
                note("F5", 2, looks="eighth", tuplet=(9, 4)),
                note("G5", 6, looks="quarter", tuplet=(3, 2)),
            ),
            time="2/4",
            divisions=9,
        ),
    )
    assert [n.onset_quarters for n in found.notes] == [
        0,
        Fraction(2, 3),
        Fraction(8, 9),
        Fraction(10, 9),
        Fraction(4, 3),
    ]


def test_rounded_tuplets_are_put_where_they_are_meant(tmp_path: Path) -> None:
    triplet = [
        note(name, units, looks="eighth", tuplet=(3, 2))
        for name, units in (("C5", 85), ("D5", 85), ("E5", 86))
    ]
    bass = [
        note(name, units, looks="eighth", tuplet=(3, 2), v="5", s=2)
        for name, units in (("C3", 86), ("D3", 85), ("E3", 85))
    ]
    found = opened(tmp_path, piano(bar(*triplet, back(256), *bass), time="1/4", divisions=256))
    assert [n.onset_quarters for n in found.notes] == [Fraction(i, 3) for i in (0, 0, 1, 1, 2, 2)]
    assert {n.length_quarters for n in found.notes} == {Fraction(1, 3)}


def test_rounding_that_overfills_the_bar_does_not_move_what_follows(tmp_path: Path) -> None:
    # Seven in the time of four at 480 divisions: 7 x 69 is 3 divisions more than the quarter has.
    seven = [note("C5", 69, looks="16th", tuplet=(7, 4)) for _ in range(7)]
    found = opened(
        tmp_path,
        piano(
            bar(*seven, note("D5", 480), back(960), note("C3", 960, v="5", s=2)),
            bar(note("E5", 960)),
            time="2/4",
            divisions=480,
        ),
    )
    by_name = {n.spelling.symbol: n.onset_quarters for n in found.notes}
    assert by_name["D5"] == 1
    assert by_name["C3"] == 0
    assert by_name["E5"] == 2
    assert found.bars[0].length_quarters == 2


def test_hidden_notes_are_left_out_but_their_time_is_kept(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(
                note("C5", 1, hidden=True),
                note("D5", 1),
                note("E5", 1),
                note("G5", 1, chord=True, hidden=True),
                note("F5", 1),
            )
        ),
    )
    assert all_said(found) == ["D5 @1 1 s1", "E5 @2 1 s1", "F5 @3 1 s1"]
    assert [r.text for r in found.remarks] == [
        "2 notes that the page does not show: not to be played from it.",
    ]


def test_small_print_of_a_solo_is_the_pianists(tmp_path: Path) -> None:
    """Exporters write <cue/> for any note in small print (MusicXML 4.0: a cue note is a silent
    one, but a piano alone has nobody to cue)."""
    found = opened(
        tmp_path,
        piano(bar(note("C5", 1), note("D5", 1, cue=True), note("E5", 1, cue=True), note("F5", 1))),
    )
    assert all_said(found) == ["C5 @0 1 s1", "D5 @1 1 s1", "E5 @2 1 s1", "F5 @3 1 s1"]
    assert [one.is_small_print for one in found.notes] == [False, True, True, False]
    assert [r.text for r in found.remarks] == [
        "2 notes in small print: played freely, and no fault if left out.",
    ]


def test_small_print_beside_another_player_is_their_cue(tmp_path: Path) -> None:
    violin = part(bar(note("A5", 4)), identity="P1", opening=attributes(metre("4/4"), divisions=1))
    ours = part(
        bar(note("C5", 2), note("D5", 2, cue=True)),
        identity="P2",
        opening=attributes(metre("4/4"), divisions=1),
    )
    found = opened(tmp_path, score(("Violin", violin), ("Piano", ours)))
    assert all_said(found) == ["C5 @0 2 s1"]
    assert "1 cue note: another player's part." in [r.text for r in found.remarks]


def test_a_chord_under_a_hidden_first_note_stays_in_place(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(bar(note("C5", 2, hidden=True), note("E5", 2, chord=True), note("F5", 2))),
    )
    assert all_said(found) == ["E5 @0 2 s1", "F5 @2 2 s1"]


def test_spelling_is_kept_and_enharmonic_keys_are_right(tmp_path: Path) -> None:
    found = opened(tmp_path, piano(bar(note("Cb4"), note("B#3"), note("F##4"), note("Bbb4"))))
    assert [(n.spelling.symbol, n.pitch) for n in found.notes] == [
        ("Cb4", 59),
        ("B#3", 60),
        ("Fx4", 67),
        ("Bbb4", 69),
    ]


def test_note_names_stay_from_one_opening_to_the_next(tmp_path: Path) -> None:
    first, second = opened(tmp_path, PICKUP), opened(tmp_path, PICKUP)
    assert [n.id for n in first.notes] == [n.id for n in second.notes]
    assert len({n.id for n in first.notes}) == len(first.notes)


def test_damaged_durations_are_taken_from_the_looks_and_said(tmp_path: Path) -> None:
    found = opened(
        tmp_path, piano(bar(note("C5", "1e999999999", looks="half"), note("D5", 2), number="7"))
    )
    assert all_said(found) == ["C5 @0 2 s1", "D5 @2 2 s1"]
    assert [r.text for r in found.remarks] == [
        "In bar 7 a note's length was damaged and taken from its looks."
    ]


def test_a_step_back_before_the_bar_stops_at_its_beginning(tmp_path: Path) -> None:
    found = opened(tmp_path, piano(bar(note("C5", 4), back(9), note("C3", 4, s=2))))
    assert all_said(found) == ["C3 @0 4 s2", "C5 @0 4 s1"]
    assert found.remarks[0].kind == "repaired"


def test_hairpins_and_pedal_marks_have_their_beginning_and_end(tmp_path: Path) -> None:
    found = opened(
        tmp_path,
        piano(
            bar(
                direction('<wedge type="crescendo" number="1"/>'),
                direction('<pedal type="start"/>', staff=2),
                note("C5", 2),
                direction('<wedge type="stop" number="1"/>'),
                direction('<wedge type="diminuendo" number="1"/>'),
                direction('<pedal type="change"/>', staff=2),
                note("D5", 2),
            ),
            bar(
                direction('<wedge type="stop" number="1"/>'),
                note("E5", 4),
                direction('<pedal type="stop"/>', staff=2),
            ),
        ),
    )
    assert [
        (line.kind.value, line.staff, float(line.start_quarters), float(line.end_quarters))
        for line in found.lines
    ] == [
        ("crescendo", 1, 0, 2),
        ("pedal", 2, 0, 2),
        ("diminuendo", 1, 2, 4),
        ("pedal", 2, 2, 8),
    ]
