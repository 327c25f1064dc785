"""The staff in character cells, as pictures that can be read in a diff.

Where a note stands on a staff is common practice; the rows (bottom line of the treble staff E4,
of the bass staff G2) are checked against the names of the lines.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction as F
from itertools import pairwise
from typing import Any

import pytest

from coach.score.build import score_from_notes
from coach.score.model import Barline, Clef, Hands
from coach.score.notation import bottom_step, key_positions, list_heads, value_of
from coach.score.pitch import Spelling
from coach.score.window import Window, excerpt
from coach.screens.staff.glyphs import ASCII, UNICODE, Glyphs
from coach.screens.staff.layout import lay_out
from coach.screens.staff.page import Sheet


def note(
    pitch: int, onset: F | float | str, length: F | float | str, hand: str = "RH", **more: object
) -> dict[str, object]:
    return {"pitch": pitch, "onset": F(onset), "length": F(length), "hand": hand, **more}


def sheet_of(
    notes: list[dict[str, object]],
    start: F | float,
    end: F | float,
    *,
    hands: Hands = Hands.TOGETHER,
    width: int = 60,
    height: int = 24,
    landing: bool = True,
    **more: Any,
) -> Sheet:
    score = score_from_notes(notes, **more)
    return lay_out(score, excerpt(score, Window(F(start), F(end), hands, landing)), width, height)


def picture(sheet: Sheet, page: int = 0) -> str:
    return "\n" + "\n".join(row.text.rstrip() for row in sheet.pages[page].rows).rstrip() + "\n"


def assert_shows(sheet: Sheet, expected: str) -> None:
    assert picture(sheet) == expected


def test_a_scale_has_stems_fingers_counts_and_the_note_arrived_at() -> None:
    sheet = sheet_of(
        [
            note(60, 0, 1, fingering="1"),
            note(62, 1, 1, fingering="2"),
            note(64, 2, 1, fingering="3"),
            note(65, 3, 1, fingering="1"),
            note(67, 4, 1, fingering="2"),
        ],
        0,
        4,
        width=44,
    )
    assert_shows(
        sheet,
        """
bar 1     1      2      3      1    [2] 2
   ─ ╭╮───────────────────────────────┼────┊
                                      │    ┊
   ─ │╯─4─────────────────────────────┼──┼─┊
                                │     │  │ ┊
RH ─╭┼╮──────────────────┼──────┼─────┼──┼─┊
                  │      │      │     │  │ ┊
   ─╰┼╯─4──┼──────┼──────┼──────┼─────┼─██─┊
           │      │      │     ██     │    ┊
   ─ ╯ ────┼──────┼─────██────────────┼────┊
           │     ██
         ─██─

          1      2      3      4        1
""",
    )


def test_beams_go_by_beat_with_a_stub_for_the_dotted_figure_and_a_digit_for_the_triplet() -> None:
    sheet = sheet_of(
        [
            note(79, 0, "1/2"),
            note(77, "1/2", "1/2"),
            note(76, 1, "3/4"),
            note(74, "7/4", "1/4"),
            note(72, 2, "1/3"),
            note(74, "7/3", "1/3"),
            note(76, "8/3", "1/3"),
            note(77, 3, "1/2"),
        ],
        0,
        4,
        landing=False,
    )
    assert_shows(
        sheet,
        """
bar 1        ┏━━━━━┓    ┏━━━━━═╗    ┏━━━━3┳━━━━┓    ┏━
          ▄▄▄▄     │    │      │    │     │    │    │
          ████     │    │      │    │     │    │    │
          ▀▀▀▀  ▄▄▄▄    │      │    │     │    │ ▄▄▄▄
   ─ ╭╮─────────████────┼──────┼────┼─────┼────┼─████─────┼╂
                ▀▀▀▀ ▄▄▄▄      │    │     │ ▄▄▄▄ ▀▀▀▀     │┃
                     ████·     │    │     │ ████          │┃
                     ▀▀▀▀   ▄▄▄▄    │  ▄▄▄▄ ▀▀▀▀          │┃
   ─ │╯─4───────────────────████────┼──████───────────────┼╂
                            ▀▀▀▀ ▄▄▄▄  ▀▀▀▀               │┃
                                 ████                     │┃
                                 ▀▀▀▀                     │┃
RH ─╭┼╮─────────────────────────────────────────────────7─┼╂
                                                          │┃
                                                          │┃
                                                          │┃
   ─╰┼╯─4─────────────────────────────────────────────────┼╂
                                                          │┃
                                                          │┃
                                                          │┃
   ─ ╯ ───────────────────────────────────────────────────┼╂


          1     &    2      a    3     la   li   4
""",
    )


def test_sixteenths_have_two_beams_and_six_in_a_beat_are_a_sextuplet() -> None:
    sheet = sheet_of(
        [note(67 + i % 3, F(i, 4), "1/4") for i in range(4)]
        + [note(67 + i % 3, 1 + F(i, 6), "1/6") for i in range(6)]
        + [note(72, 2, 2)],
        0,
        4,
        landing=False,
    )
    assert_shows(
        sheet,
        """
bar 1      ╔════╦══╦════╗   ╔═══╦═══╦═6══╦═══╦═══╗  │
   ─ ╭╮────┼────┼──┼────┼───┼───┼───┼────┼───┼───┼──┼─────┼╂
           │    │  │    │   │   │   │    │   │   │  │     │┃
   ─ │╯─4──┼────┼──┼────┼───┼───┼───┼────┼───┼───┼──┼─────┼╂
           │    │  │    │   │   │   │    │   │   │ ▌▐     │┃
RH ─╭┼╮────┼────┼──┼────┼───┼───┼───┼────┼───┼───┼────────┼╂
           │    │ ██    │   │   │  ██    │   │  ██        │┃
   ─╰┼╯─4─██──#██─────n██──██─#██──────n██─#██────────────┼╂
                                                          │┃
   ─ ╯ ───────────────────────────────────────────────────┼╂

          1    e  &    a   2   ta  la   ta  li  ta 3    4
""",
    )


def test_an_accidental_holds_to_the_end_of_its_bar_and_no_longer() -> None:
    sheet = sheet_of(
        [note(66, 0, 1), note(66, 1, 1), note(65, 2, 1), note(73, 3, 1), note(66, 4, 1)], 0, 4
    )
    assert_shows(
        sheet,
        """
bar 1                                        │     2
                                             │
   ─ ╭╮──────────────────────────────────────┼─────┼───────┊
                                             │     │       ┊
                                             │     │       ┊
                                             │     │       ┊
   ─ │╯─4────────────────────────────────────┼─────┼───────┊
                                          ▄▄▄▄     │       ┊
              │        │          │      #████     │     │ ┊
              │        │          │       ▀▀▀▀     │     │ ┊
RH ─╭┼╮───────┼────────┼──────────┼────────────────┼─────┼─┊
              │        │          │                │     │ ┊
              │        │          │                │     │ ┊
              │        │          │                │     │ ┊
   ─╰┼╯─4─────┼────────┼──────────┼────────────────┼─────┼─┊
           ▄▄▄▄     ▄▄▄▄       ▄▄▄▄                │  ▄▄▄▄ ┊
          #████     ████      n████                │ #████ ┊
           ▀▀▀▀     ▀▀▀▀       ▀▀▀▀                │  ▀▀▀▀ ┊
   ─ ╯ ────────────────────────────────────────────┼───────┊


           1        2          3          4           1
""",
    )


def test_a_key_signature_leaves_its_own_notes_without_a_sign() -> None:
    sheet = sheet_of(
        [note(66, 0, 1), note(65, 1, 1), note(66, 2, 1), note(73, 3, 1)],
        0,
        4,
        key_fifths=2,
        landing=False,
    )
    assert_shows(
        sheet,
        """
bar 1                                                   │
                                                        │
   ─ ╭╮─#───────────────────────────────────────────────┼─┼╂
                                                        │ │┃
                                                        │ │┃
                                                        │ │┃
   ─ │╯────4────────────────────────────────────────────┼─┼╂
                                                     ▄▄▄▄ │┃
         #      │             │            │         ████ │┃
                │             │            │         ▀▀▀▀ │┃
RH ─╭┼╮─────────┼─────────────┼────────────┼──────────────┼╂
                │             │            │              │┃
                │             │            │              │┃
                │             │            │              │┃
   ─╰┼╯────4────┼─────────────┼────────────┼──────────────┼╂
             ▄▄▄▄          ▄▄▄▄         ▄▄▄▄              │┃
             ████         n████        #████              │┃
             ▀▀▀▀          ▀▀▀▀         ▀▀▀▀              │┃
   ─ ╯ ───────────────────────────────────────────────────┼╂


             1             2            3            4
""",
    )


def test_two_voices_have_their_stems_up_and_down() -> None:
    sheet = sheet_of(
        [
            note(76, 0, 1),
            note(74, 1, 1),
            note(72, 2, 2),
            note(67, 0, "1/2", voice="2"),
            note(69, "1/2", "1/2", voice="2"),
            note(71, 1, 1, voice="2"),
            note(71, 2, 2, voice="2"),
        ],
        0,
        4,
        landing=False,
    )
    assert_shows(
        sheet,
        """
bar 1        │                 │           │
             │                 │           │
   ─ ╭╮──────┼─────────────────┼───────────┼──────────────┼╂
          ▄▄▄▄                 │           │              │┃
          ████                 │           │              │┃
          ▀▀▀▀              ▄▄▄▄           │              │┃
   ─ │╯─4───────────────────████───────────┼──────────────┼╂
                            ▀▀▀▀        ▄▄▄▄              │┃
                                        █  █              │┃
                            ▄▄▄▄        ▀▀▀▀ ▄▄▄▄         │┃
RH ─╭┼╮─────────────────────████─────────────█  █─────────┼╂
                   ▄▄▄▄     ▀▀▀▀             ▀▀▀▀         │┃
                   ████     │                │            │┃
          ▄▄▄▄     ▀▀▀▀     │                │            │┃
   ─╰┼╯─4─████─────┼────────┼────────────────┼────────────┼╂
          ▀▀▀▀     │        │                │            │┃
          │        │        │                │            │┃
          │        │        │                │            │┃
   ─ ╯ ───┼────────┼────────┼────────────────┼────────────┼╂
          │        │
          ┗━━━━━━━━┛

          1        &        2           3               4
""",
    )


def test_chords_seconds_ledger_lines_rests_and_a_tie_over_the_barline_on_two_staves() -> None:
    sheet = sheet_of(
        [
            note(60, 0, 1, fingering="1"),
            note(62, 0, 1, fingering="2"),
            note(67, 0, 1, fingering="5"),
            note(84, 1, "1/2"),
            note(72, 3, 3),
            note(48, 0, 4, "LH", fingering="5"),
            note(57, 0, 4, "LH", fingering="1"),
            note(40, 4, 4, "LH"),
        ],
        0,
        4,
    )
    assert_shows(
        sheet,
        """
bar 1     125                                      [2]
                       ┏━
                     ─▄▄─
                     ────
   ─ ╭╮──────────────────────────────────────┼───────┼──┼─┼╂
   ─ │╯─4──┼─────────────────────────────────┼───────┼──┼─┼╂
RH ─╭┼╮────┼──────────────────7─────ξ───────▀▀~~~~~~~┼~▘▝─┼╂
   ─╰┼╯─4─▄▄─────────────────────────────────────────┼────┼╂
   ─ ╯ ────┼─────────────────────────────────────────┼────┼╂
         ─▄▄─▀▀                                      │    │┃
                                                     │    │┃
                                                     │    │┃
   ─╭─╮───▖▗─────────────────────────────────────────┼────┼╂
   ─● │─4────────────────────────────────────────────┼────┼╂
LH ─ ╭╯──────────────────────────────────────────────┼────┼╂
   ─╱  ─4─▘▝─────────────────────────────────────────┼────┼╂
   ──────────────────────────────────────────────────┼────┼╂
                                                      ─▖▗─

          51
          1           2             3       4          1
""",
    )


def test_small_notes_stand_before_the_note_that_they_lead_to() -> None:
    sheet = sheet_of(
        [note(74, 0, 0, grace=True), note(72, 0, 0, grace=True), note(71, 0, 2), note(72, 2, 2)],
        0,
        4,
        landing=False,
    )
    assert_shows(
        sheet,
        """
bar 1                                       │
                                            │
   ─ ╭╮──────────┼──────────────────────────┼─────────────┼╂
                 │                          │             │┃
                 │                          │             │┃
                 │                          │             │┃
   ─ │╯─4───•────┼──────────────────────────┼─────────────┼╂
                 │                       ▄▄▄▄             │┃
          •      │                       █  █             │┃
              ▄▄▄▄                       ▀▀▀▀             │┃
RH ─╭┼╮───────█  █────────────────────────────────────────┼╂
              ▀▀▀▀                                        │┃
                                                          │┃
                                                          │┃
   ─╰┼╯─4─────────────────────────────────────────────────┼╂
                                                          │┃
                                                          │┃
                                                          │┃
   ─ ╯ ───────────────────────────────────────────────────┼╂


              1              2           3              4
""",
    )


def test_six_eight_is_beamed_in_threes_and_counted_in_two() -> None:
    sheet = sheet_of([note(72 + i % 3, F(i, 2), "1/2") for i in range(7)], 0, 3, metre="6/8")
    assert_shows(
        sheet,
        """
bar 1        ┏━━━━━━┳━━━━━━┓      ┏━━━━━━┳━━━━━━┓  2    ┏━
             │      │      │      │      │      │       │
   ─ ╭╮──────┼──────┼──────┼──────┼──────┼──────┼──┼────┼──┊
             │      │      │      │      │      │  │    │  ┊
             │      │      │      │      │      │  │    │  ┊
             │      │   ▄▄▄▄      │      │   ▄▄▄▄  │    │  ┊
   ─ │╯─6────┼──────┼───████──────┼──────┼───████──┼────┼──┊
          ▄▄▄▄   ▄▄▄▄   ▀▀▀▀   ▄▄▄▄   ▄▄▄▄   ▀▀▀▀  │ ▄▄▄▄  ┊
          ████  #████         n████  #████         │ ████  ┊
          ▀▀▀▀   ▀▀▀▀          ▀▀▀▀   ▀▀▀▀         │ ▀▀▀▀  ┊
RH ─╭┼╮────────────────────────────────────────────┼───────┊
                                                   │       ┊
                                                   │       ┊
                                                   │       ┊
   ─╰┼╯─8──────────────────────────────────────────┼───────┊
                                                   │       ┊
                                                   │       ┊
                                                   │       ┊
   ─ ╯ ────────────────────────────────────────────┼───────┊


          1      la     li     2      la     li      1
""",
    )


def test_a_pickup_counts_from_the_end_of_its_bar() -> None:
    sheet = sheet_of(
        [note(67, 0, 1), note(72, 1, 1), note(74, 2, 1), note(76, 3, 2)],
        0,
        5,
        metre="4/4",
        pickup_quarters=1,
        landing=False,
    )
    assert_shows(
        sheet,
        """
pickup               1    │          │          │
                          │          │          │
   ─ ╭╮──────────────┼────┼──────────┼──────────┼─────────┼╂
                     │    │          │       ▄▄▄▄         │┃
                     │    │          │       █  █         │┃
                     │    │       ▄▄▄▄       ▀▀▀▀         │┃
   ─ │╯─4────┼───────┼────┼───────████────────────────────┼╂
             │       │ ▄▄▄▄       ▀▀▀▀                    │┃
             │       │ ████                               │┃
             │       │ ▀▀▀▀                               │┃
RH ─╭┼╮──────┼───────┼────────────────────────────────────┼╂
             │       │                                    │┃
             │       │                                    │┃
          ▄▄▄▄       │                                    │┃
   ─╰┼╯─4─████───────┼────────────────────────────────────┼╂
          ▀▀▀▀       │                                    │┃
                     │                                    │┃
                     │                                    │┃
   ─ ╯ ──────────────┼────────────────────────────────────┼╂


          4            1          2          3          4
""",
    )


def test_dashes_stand_where_the_window_cuts_a_bar() -> None:
    sheet = sheet_of([note(67 + i, i, 1) for i in range(8)], 1, 2)
    assert_shows(
        sheet,
        """
         bar 1

            ─ ╭╮───┊──────────────────────────────┊
                   ┊                              ┊
                   ┊                            │ ┊
                   ┊                            │ ┊
            ─ │╯─4─┊─────┼──────────────────────┼─┊
                   ┊     │                      │ ┊
                   ┊     │                      │ ┊
                   ┊     │                      │ ┊
         RH ─╭┼╮───┊─────┼──────────────────────┼─┊
                   ┊     │                   ▄▄▄▄ ┊
                   ┊     │                   ████ ┊
                   ┊  ▄▄▄▄                   ▀▀▀▀ ┊
            ─╰┼╯─4─┊─#████────────────────────────┊
                   ┊  ▀▀▀▀                        ┊
                   ┊                              ┊
                   ┊                              ┊
            ─ ╯ ───┊──────────────────────────────┊


                      2                      3
""",
    )


def test_in_the_compact_form_a_row_is_a_line_and_the_space_above_it() -> None:
    sheet = sheet_of(
        [
            note(64, 0, 1),
            note(65, 1, 1),
            note(67, 2, 2),
            note(69, 4, 2),
            note(48, 0, 4, "LH"),
            note(50, 4, 2, "LH"),
        ],
        0,
        6,
        metre="3/4",
        height=18,
        landing=False,
    )
    assert_shows(
        sheet,
        """
bar 1                                2
   ─ ╭╮──────────────────────────────┼────────────────────┼╂
   ─ │╯─3────────────────────┼───────┼──┼───────┼─────────┼╂
RH ─╭┼╮────┼─────────┼───────┼───────┼──┼───────┼─────────┼╂
   ─╰┼╯─4──┼─────────┼──────▄▄~~~~~~~┼~▄▄──────▘▝─────────┼╂
   ─ ╯ ───▄▄────────▀▀───────────────┼────────────────────┼╂
                                     │                    │┃
                                     │                    │┃
                                     │                    │┃
   ─╭─╮──────────────────────────────┼──────────┼─────────┼╂
   ─● │─3──┼─────────────────────────┼──┼───────┼─────────┼╂
LH ─ ╭╯────┼─────────────────────────┼──┼──────▖▗─────────┼╂
   ─╱  ─4─▘▝·~~~~~~~~~~~~~~~~~~~~~~~~┼~▀▀─────────────────┼╂
   ──────────────────────────────────┼────────────────────┼╂

          1         2       3          1       2        3
""",
    )


@pytest.mark.outside
def test_the_bottom_lines_are_e4_and_g2() -> None:
    """Common practice: lines of the treble staff E G B D F, of the bass staff G B D F A."""
    treble, bass = Clef(1, F(0), "G", 2), Clef(2, F(0), "F", 4)
    lines = [Spelling(letter, 0, 4).diatonic for letter in "EGB"]
    assert [step - bottom_step(treble) for step in lines] == [0, 2, 4]
    assert bottom_step(treble) == 30
    assert bottom_step(bass) == Spelling("G", 0, 2).diatonic == 18


@pytest.mark.outside
@pytest.mark.parametrize(
    ("sign", "line", "middle"), [("C", 3, "C4"), ("C", 4, "A3"), ("G", 2, "B4")]
)
def test_the_middle_line_of_each_clef(sign: str, line: int, middle: str) -> None:
    """Common practice: the alto clef's middle line is middle C, the tenor clef's the A below."""
    step = Spelling(middle[0], 0, int(middle[1])).diatonic
    assert step - bottom_step(Clef(1, F(0), sign, line)) == 4


@pytest.mark.outside
def test_key_signs_stand_where_they_are_printed() -> None:
    """Common practice: E major's sharps in the treble on F5 C5 G5 D5; E flat's flats in the bass
    on B2 E3 A2."""
    treble, bass = Clef(1, F(0), "G", 2), Clef(2, F(0), "F", 4)
    names = [("F", 5), ("C", 5), ("G", 5), ("D", 5)]
    assert [30 + p for p in key_positions(4, treble)] == [
        Spelling(letter, 0, octave).diatonic for letter, octave in names
    ]
    names = [("B", 2), ("E", 3), ("A", 2)]
    assert [18 + p for p in key_positions(-3, bass)] == [
        Spelling(letter, 0, octave).diatonic for letter, octave in names
    ]


@pytest.mark.outside
@pytest.mark.parametrize(
    ("length", "base", "dots", "tuplet"),
    [
        (F(3, 2), F(1), 1, None),
        (F(7, 4), F(1), 2, None),
        (F(1, 3), F(1, 2), 0, (3, 2)),
        (F(2, 3), F(1), 0, (3, 2)),
        (F(1, 5), F(1, 4), 0, (5, 4)),
        (F(1, 6), F(1, 4), 0, (3, 2)),
        (F(4), F(4), 0, None),
    ],
)
def test_lengths_are_written_as_usual(
    length: F, base: F, dots: int, tuplet: tuple[int, int] | None
) -> None:
    """Common practice: a dot adds half; three triplet eighths fill a quarter."""
    value = value_of(length)
    assert value
    assert (value.base_quarters, value.dots, value.tuplet) == (base, dots, tuplet)


def test_a_length_that_no_single_value_makes_is_several() -> None:
    assert value_of(F(5, 4)) is None


def test_a_wide_window_becomes_pages_that_begin_with_the_beat_before() -> None:
    notes = [note(60 + i % 12, F(i, 2), "1/2") for i in range(32)]
    sheet = sheet_of(notes, 0, 16, width=60)
    starts = [page.start_quarters for page in sheet.pages]
    assert len(starts) > 1
    assert all(start.denominator == 1 for start in starts)  # each page begins on a beat
    for before, after in pairwise(sheet.pages):
        assert set(before.notes) & set(after.notes)
    assert set().union(*(page.notes for page in sheet.pages)) == set(range(32))


def test_a_page_ends_at_a_barline_as_the_systems_of_print_do() -> None:
    quarters = [note(60 + i % 5, i, 1) for i in range(16)]
    for width in (50, 55, 60, 65, 70):
        _, second = sheet_of(quarters, 0, 16, width=width).pages
        assert second.start_quarters in (7, 11)  # the beat before the barline stands on both


def test_a_page_that_holds_no_barline_ends_before_a_beat() -> None:
    sixteenths = [note(60 + i % 5, F(i, 4), "1/4") for i in range(32)]
    starts = [page.start_quarters for page in sheet_of(sixteenths, 0, 8, width=45).pages]
    assert any(start % 4 != 3 for start in starts[1:])
    assert all(start.denominator == 1 for start in starts)


def test_the_page_follows_the_playing() -> None:
    notes = [note(60 + i % 12, F(i, 2), "1/2") for i in range(32)]
    sheet = sheet_of(notes, 0, 16, width=60)
    second = sheet.pages[1].start_quarters
    assert sheet.page_at(second) == 1
    assert sheet.page_at(second - F(1, 2)) == 0


def test_plain_characters_only_where_asked_for() -> None:
    score = score_from_notes([note(60 + i, F(i, 4), "1/4") for i in range(16)])
    window = Window(F(0), F(4))
    for height in (40, 12):
        sheet = lay_out(score, excerpt(score, window), 80, height, glyphs=ASCII)
        assert all(row.text.isascii() for page in sheet.pages for row in page.rows)


def test_an_octave_line_writes_the_note_an_octave_lower() -> None:
    score = score_from_notes([note(84, 0, 4)])
    shifted = replace(score, notes=(replace(score.notes[0], octave_shift=-1),))
    window = Window(F(0), F(4), landing=False)
    part = excerpt(shifted, window)
    assert "8va" in picture(lay_out(shifted, part, 40, 40))
    assert [head.step for head in list_heads(shifted, part)] == [Spelling("C", 0, 5).diatonic]


def closings(glyphs: Glyphs, *bars: Mapping[str, object], width: int = 60) -> str:
    """The row of the staff's top line, where each of these bars has a quarter for each beat."""
    score = score_from_notes([note(60, at, 1) for at in range(4 * len(bars))])
    changed = tuple(replace(b, **how) for b, how in zip(score.bars, bars, strict=True))  # type: ignore[arg-type]
    score = replace(score, bars=changed)
    window = Window(F(0), score.end_quarters)
    sheet = lay_out(score, excerpt(score, window), width, 24, glyphs=glyphs)
    return next(row.text for row in sheet.pages[0].rows if row.text.count(glyphs.line) > 20)


def test_a_bar_is_closed_as_it_is_in_print() -> None:
    """Common practice: two thin lines end a section, a thin and a thick one the piece."""
    how: list[dict[str, object]] = [{"barline": Barline.DOUBLE}, {"barline": Barline.NONE}, {}]
    unicode, ascii_only = closings(UNICODE, *how), closings(ASCII, *how)
    assert re.findall(r"[┼╂]+", unicode.partition("─")[2]) == ["┼┼", "┼╂"]
    assert re.findall(r"[+H|]+", ascii_only.partition("-")[2]) == ["++", "+H"]


def test_a_repeat_has_its_thick_line_on_the_other_side_of_the_dots() -> None:
    begins, ends = {"repeat_start": True}, {"repeat_end": True}
    assert re.findall(r"[┼╂]+", closings(UNICODE, begins, ends)) == ["╂┼", "┼", "┼╂"]
    assert re.findall(r"[┼╂]+", closings(UNICODE, ends, begins)) == ["╂", "┼╂"]


def test_a_dashed_barline_is_no_end_of_a_window() -> None:
    """The window's own dashes stand in every row, those of print in every other."""
    notes = [note(60, at, 1) for at in range(8)]
    score = score_from_notes(notes)
    dashed = (replace(score.bars[0], barline=Barline.DASHED), score.bars[1])
    score = replace(score, bars=dashed)
    sheet = lay_out(score, excerpt(score, Window(F(0), F(6), landing=False)), 60, 24)
    rows = [row.text.ljust(60) for row in sheet.pages[0].rows]
    cut = [(at, row.index("┊")) for at, row in enumerate(rows) if "┊" in row]
    assert [at for at, _ in cut] == [*range(cut[0][0], cut[-1][0] + 1)]
    column = next(x for x in range(20, 60) if rows[cut[0][0]][x] == "┼")
    drawn = [row[column] in "│┼" for row in rows[cut[0][0] : cut[-1][0] + 1]]
    assert drawn == [at % 2 == 0 for at in range(len(drawn))]
