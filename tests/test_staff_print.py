"""What is printed besides the notes stands in its lane, whole, and no bar is cut for it."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F
from itertools import pairwise
from random import Random

import pytest

from coach.score.build import score_from_notes
from coach.score.model import (
    Direction,
    Hand,
    Hands,
    LineKind,
    NoteMark,
    PrintedLine,
    PrintedRest,
    Score,
)
from coach.score.notation import write
from coach.score.window import Window, excerpt
from coach.screens.marks import MarkKind
from coach.screens.staff import ASCII, UNICODE, MarkedPage, Sheet, WindowLayout
from coach.screens.staff.page import Role
from coach.screens.staff.texts import touch_text


def scale(*marks: frozenset[NoteMark], hand: str = "RH", low: int = 72) -> Score:
    """A quarter for each set of marks, from a key upwards."""
    notes = [
        {"pitch": low + 2 * at, "onset": at, "length": 1, "hand": hand} for at in range(len(marks))
    ]
    score = score_from_notes(notes)
    marked = tuple(replace(n, marks=m) for n, m in zip(score.notes, marks, strict=True))
    return replace(score, notes=marked)


def sheet(
    score: Score, width: int = 80, height: int = 24, end: F | int | None = None, size: int = 0
) -> Sheet:
    window = Window(F(0), F(end or score.end_quarters), Hands.TOGETHER)
    return WindowLayout(score, excerpt(score, window)).lay_out(width, height, size=size)


def texts(shown: Sheet, page: int = 0) -> list[str]:
    return [row.text.rstrip() for row in shown.pages[page].rows]


PLAIN: frozenset[NoteMark] = frozenset()
TOUCHED = (
    frozenset({NoteMark.SLUR_START, NoteMark.STACCATO}),
    frozenset({NoteMark.SLUR_END, NoteMark.ACCENT}),
    frozenset({NoteMark.TRILL}),
    frozenset({NoteMark.TENUTO, NoteMark.FERMATA}),
)


def test_touch_stands_over_its_note() -> None:
    touch, *_ = texts(sheet(scale(*TOUCHED)))
    assert touch.split() == ["bar", "1", "(.", ">)", "tr", "-∩"]


def test_a_slur_that_ends_where_another_begins_is_no_pair_of_brackets() -> None:
    both = frozenset({NoteMark.SLUR_START, NoteMark.SLUR_END, NoteMark.STACCATO})
    assert touch_text(both, UNICODE) == ").("


def test_every_sign_is_as_wide_in_plain_characters() -> None:
    assert {m: len(t) for m, t in UNICODE.touch.items()} == {
        m: len(t) for m, t in ASCII.touch.items()
    }


ACROSS = {NoteMark.ARPEGGIO, NoteMark.ROLLED_ACROSS}


def test_a_broken_chord_has_its_sign_at_every_row() -> None:
    rolled = frozenset({NoteMark.ARPEGGIO})
    notes = [{"pitch": p, "onset": 0, "length": 4, "hand": "RH"} for p in (72, 76, 79)]
    score = score_from_notes(notes)
    score = replace(score, notes=tuple(replace(n, marks=rolled) for n in score.notes))
    assert "".join(texts(sheet(score))).count("{") == 9  # from C to G, two rows a step


@pytest.mark.parametrize(
    ("marks", "rolled", "is_between"),
    [
        ({"RH": {NoteMark.ARPEGGIO}}, {"RH"}, False),
        ({"LH": {NoteMark.ARPEGGIO}}, {"LH"}, False),
        ({"LH": {NoteMark.ARPEGGIO}, "RH": {NoteMark.ARPEGGIO}}, {"LH", "RH"}, False),
        ({"LH": ACROSS, "RH": ACROSS}, {"LH", "RH"}, True),
    ],
)
def test_the_sign_of_a_broken_chord_stands_at_what_is_rolled(
    marks: dict[str, set[NoteMark]], rolled: set[str], is_between: bool
) -> None:
    score = score_from_notes(
        [
            {"pitch": pitch, "onset": 0, "length": 4, "hand": hand}
            for hand, pitches in (("RH", (72, 76)), ("LH", (48, 52)))
            for pitch in pitches
        ]
    )
    notes = [replace(n, marks=frozenset(marks.get(n.hand.value, ()))) for n in score.notes]
    shown = sheet(replace(score, notes=tuple(notes)))
    signed = [at for at, row in enumerate(texts(shown)) if "{" in row]
    names = [at for at, row in enumerate(texts(shown)) if row.lstrip().startswith(("RH", "LH"))]
    middle = sum(names) / 2
    assert {"RH" if at < middle else "LH" for at in signed} == rolled
    assert (signed == [*range(signed[0], signed[-1] + 1)]) is (is_between or len(rolled) == 1)


def test_dynamics_hairpin_and_pedal_have_their_own_rows_where_there_is_room() -> None:
    score = replace(
        scale(*[PLAIN] * 4),
        directions=(
            Direction(F(0), 1, "p"),
            Direction(F(3), 1, "sfz"),
            Direction(F(1), 1, "dolce"),
        ),
        lines=(
            PrintedLine(LineKind.CRESCENDO, 1, F(0), F(3)),
            PrintedLine(LineKind.PEDAL, 1, F(0), F(2)),
        ),
    )
    *_, dynamics, pedal, counts = texts(sheet(score))
    assert dynamics.split()[0].startswith("p<───")
    assert dynamics.endswith("sfz")
    assert pedal.strip().startswith("Ped___")
    assert pedal.rstrip().endswith("*")
    assert counts.split() == ["1", "2", "3", "4"]
    assert any("dolce" in row for row in texts(sheet(score)))


def test_a_hairpin_from_before_the_window_is_seen_in_it() -> None:
    score = replace(scale(*[PLAIN] * 8), lines=(PrintedLine(LineKind.DIMINUENDO, 1, F(0), F(8)),))
    window = Window(F(4), F(6), Hands.TOGETHER)
    shown = WindowLayout(score, excerpt(score, window)).lay_out(80, 24)
    assert any(">───" in row for row in texts(shown))


def test_fingers_and_marks_never_run_together() -> None:
    notes = [
        {
            "pitch": p - 24 * (hand == "LH"),
            "onset": F(at, 2),
            "length": F(1, 2),
            "hand": hand,
            "fingering": f,
        }
        for hand in ("RH", "LH")
        for at in range(8)
        for p, f in ((60, "5"), (64, "2"), (67, "1"))
    ]
    score = score_from_notes(notes)
    shown = sheet(score, 80, 18)
    assert "one" in shown.form
    page = MarkedPage(shown.pages[0], dict.fromkeys(range(len(score.notes)), MarkKind.RIGHT))
    lanes = [page.row(row)[0] for row in range(page.rows) if "=" in page.row(row)[0]]
    assert lanes
    for lane in lanes:
        assert not any(a.isdigit() and b == "=" for a, b in pairwise(lane))
        assert not any(a == "=" and b.isdigit() for a, b in pairwise(lane))


def test_heads_of_one_kind_look_alike_in_every_form() -> None:
    notes = [
        {"pitch": p, "onset": at * 2, "length": 2, "hand": "RH"} for at, p in enumerate((64, 65))
    ]
    score = score_from_notes(notes)
    halves = {"▖▗", "▘▝"}, {"▌▐"}, {"█  █"}
    for height, looks in zip((10, 16, 30), halves, strict=True):
        drawn = "\n".join(texts(sheet(score, height=height)))
        assert all(look in drawn for look in looks)


def test_a_sign_says_whose_it_is_where_two_heads_share_a_row() -> None:
    notes = [{"pitch": p, "onset": 0, "length": 4, "hand": "RH"} for p in (64, 66)]  # E and F sharp
    drawn = "\n".join(texts(sheet(score_from_notes(notes), height=10)))
    assert "#'" in drawn


def test_clefs_are_drawn_and_no_letters() -> None:
    notes = [
        {"pitch": 72, "onset": 0, "length": 4, "hand": "RH"},
        {"pitch": 48, "onset": 0, "length": 4, "hand": "LH"},
    ]
    drawn = "\n".join(texts(sheet(score_from_notes(notes, key_fifths=1))))
    for letter in "GF":
        assert letter not in drawn


def test_sixty_fourths_have_a_beam_of_their_own() -> None:
    notes = [
        {"pitch": 60, "onset": F(at, 16), "length": F(1, 16), "hand": "RH"} for at in range(16)
    ]
    score = score_from_notes(notes)
    shown = WindowLayout(score, excerpt(score, Window(F(0), F(1), Hands.TOGETHER)))
    assert "≣" in "\n".join(texts(shown.lay_out(120, 24)))


def test_a_whole_beam_goes_under_the_octave_line() -> None:
    """One note of the four lies on far ledger lines: all four are written an octave lower."""
    notes = [
        {"pitch": p, "onset": F(at, 4), "length": F(1, 4), "hand": "RH"}
        for at, p in enumerate((84, 88, 96, 88))
    ] + [{"pitch": 36, "onset": 0, "length": 4, "hand": "LH"}]
    score = score_from_notes(notes)
    shown = sheet(score, height=18)
    assert "8va" in "\n".join(texts(shown))
    page = shown.pages[0]
    right = [n for n, one in enumerate(score.notes) if one.hand is Hand.RIGHT]
    rows = [page.notes[n].heads[0][0] for n in right]
    assert rows[1] == rows[3]
    assert rows[0] > rows[1] > rows[2]


SHORT_SIGNS = (NoteMark.STACCATO, NoteMark.ACCENT, NoteMark.TENUTO, NoteMark.SLUR_START)


@pytest.mark.property
@pytest.mark.parametrize("seed", range(40))
def test_no_bar_is_cut_in_a_small_terminal(seed: int) -> None:
    """Four octaves a hand, chords, signs, fingers and touch: whole, in two pages at most."""
    chance = Random(seed)
    notes = []
    for hand, low in (("RH", 55), ("LH", 29)):
        step = chance.choice([F(1), F(1, 2), F(1, 4)])
        for at in range(int(4 / step)):
            root = low + chance.randrange(36)
            for above in chance.sample([0, 4, 7, 10, 12], chance.randrange(1, 4)):
                notes.append(
                    {"pitch": root + above, "onset": at * step, "length": step, "hand": hand}
                )
    score = score_from_notes(notes)
    score = replace(
        score,
        notes=tuple(
            replace(n, marks=frozenset(chance.sample(SHORT_SIGNS, 1))) for n in score.notes
        ),
    )
    shown = sheet(score, 80, 18)
    assert shown.height <= 18
    assert len(shown.pages) <= 2
    assert {note for page in shown.pages for note in page.notes} == set(range(len(score.notes)))
    for page in shown.pages:
        assert "1" in page.rows[-1].text or "3" in page.rows[-1].text  # the beats


def test_a_large_terminal_has_a_larger_staff_in_the_middle() -> None:
    score = scale(*[PLAIN] * 4)
    rows = texts(sheet(score, 200, 49))
    assert any("████" in row for row in rows)
    left = min(len(row) - len(row.lstrip()) for row in rows if row)
    right = 200 - max(map(len, rows))
    assert abs(left - right) <= 1


def test_the_staff_can_be_asked_for_smaller_and_larger() -> None:
    notes = [
        {"pitch": p, "onset": at, "length": 1, "hand": h}
        for at in range(8)
        for p, h in ((72, "RH"), (48, "LH"))
    ]
    score = score_from_notes(notes)
    usual, smaller, larger = (sheet(score, 80, 26, size=size) for size in (0, -1, 1))
    assert smaller.height < usual.height
    assert larger.height >= usual.height


def test_a_rest_of_one_voice_stands_beside_the_other_voice() -> None:
    """The upper voice rests on 1, while the lower one holds a half note."""
    notes = [
        {"pitch": 76, "onset": 1, "length": 1, "hand": "RH", "voice": "1"},
        {"pitch": 64, "onset": 0, "length": 2, "hand": "RH", "voice": "2"},
    ]
    score = score_from_notes(notes)
    score = replace(score, rests=(PrintedRest(1, "1", F(0), F(1)),))
    for height in (10, 18, 40):
        shown = sheet(score, height=height, end=2)
        assert ("rest", F(0)) in shown.pages[0].printed
        rows = texts(shown)
        rest = next(at for at, row in enumerate(rows) if "ξ" in row)
        assert rest < shown.pages[0].notes[0].heads[0][0]  # above the half note


def in_force(*said: tuple[int, str], at: int = 8, lines: tuple[PrintedLine, ...] = ()) -> list[str]:
    """The dynamics of a window that begins at an onset, where these were said before."""
    score = scale(*[PLAIN] * 12)
    directions = tuple(Direction(F(onset), 1, text) for onset, text in said)
    score = replace(score, directions=directions, lines=lines)
    part = excerpt(score, Window(F(at), F(12)))
    return [one.text for one in write(score, part, lambda _, at: [""] * len(at)).directions]


@pytest.mark.parametrize(("said", "shown"), [
    ([(0, "p"), (4, "f")], ["(f)"]),
    ([(0, "p"), (8, "f")], ["f"]),  # printed where the window begins
    ([(0, "sempre pp")], ["(pp)"]),
    ([(0, "fp")], ["(p)"]),
    ([(0, "f"), (4, "sfz")], ["(f)"]),  # an accent is over at once
    ([(0, "p"), (4, "cresc.")], ["(p <)"]),
    ([(0, "p"), (4, "cresc."), (6, "f")], ["(f)"]),
    ([(4, "dolce"), (9, "p")], ["p"]),
])  # fmt: skip
def test_a_window_begins_with_how_loud_it_is_there(
    said: list[tuple[int, str]], shown: list[str]
) -> None:
    """Common practice of editors: what is not printed there stands in brackets."""
    assert in_force(*said) == shown


@pytest.mark.parametrize(("start", "end", "shown"), [
    (4, 8, "(f >)"),  # it ends where the window begins: nothing of it is in sight
    (4, 9, "(f)"),  # it goes on, and is drawn
    (0, 2, "(f)"),  # before what was said last
])  # fmt: skip
def test_a_hairpin_before_the_window_is_not_lost(start: int, end: int, shown: str) -> None:
    line = PrintedLine(LineKind.DIMINUENDO, 1, F(start), F(end))
    assert in_force((3, "f"), lines=(line,)) == [shown]
    pedal = replace(line, kind=LineKind.PEDAL)
    assert in_force((3, "f"), lines=(pedal,)) == ["(f)"]


def test_what_holds_for_both_staves_is_said_once() -> None:
    score = replace(two_staves(), directions=(Direction(F(0), 1, "p"), Direction(F(0), 2, "p")))
    assert recalled(score) == [(1, "(p)")]
    score = replace(score, directions=(Direction(F(0), 1, "f"), Direction(F(0), 2, "p")))
    assert recalled(score) == [(1, "(f)"), (2, "(p)")]


def two_staves() -> Score:
    return score_from_notes(
        [
            {"pitch": pitch, "onset": at, "length": 1, "hand": hand}
            for at in range(8)
            for pitch, hand in ((72, "RH"), (48, "LH"))
        ]
    )


def recalled(score: Score) -> list[tuple[int, str]]:
    part = excerpt(score, Window(F(4), F(8)))
    written = write(score, part, lambda _, at: [""] * len(at))
    return [(one.staff, one.text) for one in written.directions]


def rests_of(score: Score) -> list[tuple[int, F, F]]:
    """The rests of the whole piece: staff, onset, and value in quarters."""
    part = excerpt(score, Window(F(0), score.end_quarters))
    written = write(score, part, lambda _, at: [""] * len(at))
    found = [*written.rests, *written.inner_rests]
    return [(rest.staff, rest.onset_quarters, rest.value.base_quarters) for rest in found]


def test_rests_are_those_of_the_page() -> None:
    """A sixteenth and then two eighths in 6/8, and not what would be shorter to write."""
    notes = [
        {"pitch": 72, "onset": onset, "length": F(1, 4), "hand": "RH"} for onset in (0, F(3, 2))
    ]
    score = score_from_notes(notes, metre="6/8")
    lengths = {F(1, 4): F(1, 4), F(1, 2): F(1, 2), F(1): F(1, 2)}
    printed = tuple(PrintedRest(1, "1", onset, length) for onset, length in lengths.items())
    found = rests_of(replace(score, rests=printed))
    assert [(onset, value) for _, onset, value in found][:3] == [*lengths.items()]
    assert sum(value for _, onset, value in rests_of(score) if onset < F(3, 2)) == F(5, 4)


def test_a_voice_that_goes_over_to_the_other_staff_leaves_no_rest_behind() -> None:
    notes = [
        {"pitch": 48, "onset": 0, "length": 1, "hand": "LH"},
        {"pitch": 72, "onset": 1, "length": 1, "hand": "LH"},
        {"pitch": 76, "onset": 0, "length": 2, "hand": "RH"},
    ]
    score = score_from_notes(notes)
    crossing = tuple(
        replace(one, staff=1 if one.pitch > 60 else 2, voice="1" if one.pitch == 76 else "5")
        for one in score.notes
    )
    elsewhere = (PrintedRest(2, "5", F(2), F(2)),)
    score = replace(score, notes=crossing)
    assert (2, F(1), F(2)) in rests_of(score)  # a file without rests: all silence is shown
    assert [rest for rest in rests_of(replace(score, rests=elsewhere)) if rest[0] == 2] == [
        (2, F(2), F(2))
    ]


def test_the_upper_voice_is_the_one_above_where_both_are_struck() -> None:
    """What it plays alone, lower down, does not turn its stems."""
    notes = [
        {"pitch": 76, "onset": 0, "length": 1, "hand": "RH", "voice": "1"},
        {"pitch": 72, "onset": 0, "length": 1, "hand": "RH", "voice": "2"},
        {"pitch": 55, "onset": 2, "length": 1, "hand": "RH", "voice": "1"},
    ]
    score = score_from_notes(notes)
    part = excerpt(score, Window(F(0), score.end_quarters))
    stems = write(score, part, lambda _, at: [""] * len(at)).stems
    assert {stem.voice: stem.up for stem in stems} == {"1": True, "2": False}
    same = [{**note, "pitch": 76} for note in notes]
    part = excerpt(score_from_notes(same), Window(F(0), F(3)))
    stems = write(score_from_notes(same), part, lambda _, at: [""] * len(at)).stems
    assert {stem.voice: stem.up for stem in stems} == {"1": True, "2": False}


def test_a_hairpin_keeps_clear_of_fingers_and_marks_in_its_lane() -> None:
    """In 24 rows two hands share their lanes with it: ``4 mf>  ─ 3  ─ 2``."""
    hands = [
        {"pitch": 72 - at, "onset": at, "length": 1, "hand": "RH", "fingering": str(5 - at)}
        for at in range(4)
    ] + [{"pitch": 48 + at, "onset": at, "length": 1, "hand": "LH"} for at in range(4)]
    score = replace(
        score_from_notes(hands),
        directions=(Direction(F(0), 1, "mf"),),
        lines=(PrintedLine(LineKind.DIMINUENDO, 1, F(0), F(4)),),
    )
    shown = sheet(score, height=16)
    page = shown.pages[0]
    lane = next(row.text for row in page.rows if "mf>" in row.text)
    assert "─" in lane
    for at, char in enumerate(lane):
        if char == "─":
            assert not {lane[at - 1], lane[at + 1]} - {" ", "─", ">"}
    marks = [cells.mark for cells in page.notes.values()]
    assert all(page.rows[row].text[column] == " " for row, column in marks)


def test_no_word_stands_under_an_octave_line() -> None:
    """``8va`` over ``(arp.)`` was read as one (``8vap.)``)."""
    score = score_from_notes(
        [{"pitch": 108, "onset": 0, "length": 4, "hand": "RH"},
         {"pitch": 48, "onset": 0, "length": 4, "hand": "LH"}]
    )  # fmt: skip
    score = replace(score, directions=(Direction(F(0), 1, "(arp.)"),))
    shown = ["\n".join(texts(sheet(score, height=height))) for height in range(13, 24)]
    assert any("15ma" in text for text in shown)
    assert not any(".)" in text.replace("(arp.)", "") for text in shown)


def test_no_rest_is_shown_while_a_note_is_held_into_the_window() -> None:
    notes = [
        {"pitch": 48, "onset": 0, "length": 6, "hand": "LH"},
        {"pitch": 50, "onset": 6, "length": 2, "hand": "LH"},
    ]
    score = score_from_notes(notes)
    part = excerpt(score, Window(F(4), F(8)))
    written = write(score, part, lambda _, at: [""] * len(at))
    assert written.rests == ()
    assert [head.length_quarters for head in written.held] == [F(2)]


def held(pitch: int) -> Sheet:
    """A half note of the lower voice, seen from its second beat on under quarters of the upper."""
    notes: list[dict[str, object]] = [
        {"pitch": 76, "onset": at, "length": 1, "hand": "RH"} for at in range(4)
    ]
    notes.append({"pitch": pitch, "onset": 0, "length": 2, "hand": "RH", "voice": "2"})
    score = score_from_notes(notes)
    return WindowLayout(score, excerpt(score, Window(F(1), F(3)))).lay_out(80, 24)


def held_cells(sheet: Sheet) -> int:
    return sum(role is Role.HELD for row in sheet.pages[0].rows for role in row.roles)


def test_a_note_that_is_held_into_the_window_is_seen_and_not_asked_for() -> None:
    sheet = held(67)
    assert held_cells(sheet) > 0
    assert any(role is Role.TIE for row in sheet.pages[0].rows for role in row.roles)
    assert set(sheet.pages[0].notes) == {0, 1, 2}  # those that are struck


def test_a_held_note_costs_no_row() -> None:
    inside, outside = held(64), held(62)  # on the lowest line, and below it
    assert held_cells(inside) > 0
    assert held_cells(outside) == 0
    assert len(inside.pages[0].rows) == len(outside.pages[0].rows)
