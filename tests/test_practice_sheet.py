"""A teacher's practice sheet: checked with line and column, followed, written from a session."""

from __future__ import annotations

import tomllib
from argparse import Namespace
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.cli import main
from coach.cli.practice_sheet import (
    ProposedPassage,
    SheetTask,
    follow_sheet,
    held_on,
    open_sheet,
    order_tasks,
    place_in_score,
    read_sheet,
    write_sheet,
)
from coach.cli.storage import Storage
from coach.coaching.model import Goal
from coach.coaching.planning import PlayedOnce
from coach.drill import Drill
from coach.judging.model import Stage
from coach.score.model import Hands
from coach.score.reading import read_score
from coach.score.window import Window
from scripts.simulated_week import make_week

SAMPLES = Path(__file__).parent.parent / "sample_scores"
SAMPLE = SAMPLES / "1-low-tide.musicxml"
SCORE = read_score(SAMPLE)
FIRST = SCORE.notes[0].spelling.symbol
SHEET = f"""\
piece = "Low Tide"
score = "{SAMPLE.as_posix()}"
by = 2026-12-10
remark = "Three short sessions a day."

[[passage]]
bars = "1-2"
hands = "RH"
tempo = 72
clean = 2
by = 2026-12-03
remark = "Sing it first."
fingering = ["bar 1 beat 1 {FIRST} finger 4"]

[[passage]]
bars = 3            # a number does, too
stage = "notes"
"""


def written(folder: Path, text: str = SHEET) -> Path:
    file = folder / "sheet.toml"
    file.write_text(text, encoding="utf-8")
    return file


def test_a_sheet_is_read_as_it_is_written() -> None:
    sheet, mistakes = read_sheet(SHEET)
    assert not mistakes
    assert sheet is not None
    tasks, mistakes = place_in_score(sheet, SCORE)
    assert not mistakes
    first, second = tasks
    end = SCORE.bars[2].onset_quarters
    window = Window(SCORE.bars[0].onset_quarters, end, Hands.RIGHT)
    wanted = Goal(window, 72.0, Stage.RHYTHM, 2, reason="Sing it first.", is_set_work=True)
    assert first.goal == wanted
    assert first.by == date(2026, 12, 3)
    assert [*map(str, first.fingerings)] == [f"bar 1 beat 1 {FIRST} finger 4"]
    assert second.goal.stage is Stage.NOTES
    assert second.goal.clean_required == 3
    assert second.goal.qpm == SCORE.tempo_at(second.goal.window.start_quarters)
    assert second.by == date(2026, 12, 10)  # the sheet's own


PASSAGE = '[[passage]]\nbars = "1"\n'


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('score = "x" y', "line 1, column 13: Expected newline"),
        (
            "bars 5 to 8",
            "line 1, column 6: Expected '=' after a key in a key/value pair; "
            'a line is written like bars = "5-8", with words in quotes',
        ),
        ('score = "x', "line 1, column 11: Unterminated string"),
        (f'score = "x"\nby = 2026-02-30\n{PASSAGE}', "line 2, column 6: 2026-02-30 is no day; "),
        (f'score = "x"\nby = 2026-12-40 # a lesson\n{PASSAGE}', "line 2, column 6: 2026-12-40 is"),
        (f'score = "x"\nby = 2026-2-3\n{PASSAGE}', "line 2, column 6: 2026-2-3 is no day; write"),
        (f'by = "tomorrow"\nscore = "x"\n{PASSAGE}', "line 1, column 1: write the day without"),
        (f'scor = "x"\n{PASSAGE}', "line 1, column 1: there is no key scor; did you mean score?"),
        (PASSAGE, "line 1, column 1: name the score"),
        (f"\n\nscore = 3\n{PASSAGE}", "line 3, column 1: score is a text"),
        ('score = "x"', "line 1, column 1: there is no passage"),
        ('score = "x"\npassage = 1', "line 2, column 1: write each passage under a line"),
        ('score = "x"\n[[passage]]\ntempo = 3', "line 2, column 1: say which bars"),
        (f'score = "x"\n{PASSAGE}  tempo = "72"', "line 4, column 3: tempo is a number from 10"),
        (f'score = "x"\n{PASSAGE}tempo = 401', "line 4, column 1: tempo is a number from 10"),
        (f'score = "x"\n{PASSAGE}clean = 2.5', "line 4, column 1: clean is a whole number"),
        (f'score = "x"\n{PASSAGE}clean = true', "line 4, column 1: clean is a whole number"),
        (
            f'score = "x"\n{PASSAGE}hands = "left"',
            "line 4, column 1: hands is one of: both, lh, rh",
        ),
        (f'score = "x"\n{PASSAGE}stage = "loud"', "line 4, column 1: stage is one of: notes, "),
        (f'score = "x"\n{PASSAGE}fingering = "4"', "line 4, column 1: fingering is a list"),
        (f'score = "x"\n{PASSAGE}hand = "rh"', "line 4, column 1: there is no key hand; did you"),
        (
            f'score = """x\n""" # "\n{PASSAGE}[[passage]]\nbars = "2"\n[[passage]]\nbars = 1.5',
            "line 8, column 1: say which bars",
        ),
    ],
)
def test_a_mistake_is_told_with_its_line_and_column(text: str, said: str) -> None:
    sheet, mistakes = read_sheet(text)
    assert sheet is None
    assert str(mistakes[0]).startswith(said), mistakes


def test_every_mistake_is_told_at_once_in_the_order_of_the_file() -> None:
    text = SHEET.replace("tempo", "tempp").replace("clean = 2", "clean = 0")
    mistakes = read_sheet(text.replace('stage = "notes"', 'stage = "n"'))[1]
    assert [one.line for one in mistakes] == [9, 10, 17]


@pytest.mark.parametrize(
    ("change", "place", "said"),
    [
        (('"1-2"', '"1-99"'), (7, 1), "There is no bar 99"),
        (('"1-2"', '"2-1"'), (7, 1), "ends before it begins"),
        (("clean = 2", 'beats = "9-1"'), (10, 1), "beat"),
        (("finger 4", "fingr 4"), (13, 14), "is neither a fingering nor a note"),
        (("beat 1", "beat 9"), (13, 14), "finds no note"),
        (
            ('["bar', '[\n  "bar 2 note Sing.",\n  "bar'),
            (14, 3),
            "is a note; write it as the remark",
        ),
    ],
)
def test_what_the_score_does_not_have_is_told_where_it_stands(
    change: tuple[str, str], place: tuple[int, int], said: str
) -> None:
    sheet, mistakes = read_sheet(SHEET.replace(*change))
    assert sheet is not None, mistakes
    _, mistakes = place_in_score(sheet, SCORE)
    assert [one[:2] for one in mistakes] == [place]
    assert said in mistakes[0].words


def test_a_passage_that_is_not_there_does_not_hide_what_is_wrong_with_its_fingers() -> None:
    sheet, _ = read_sheet(SHEET.replace('"1-2"', '"1-99"').replace("beat 1", "beat 9"))
    assert sheet is not None
    assert [one.line for one in place_in_score(sheet, SCORE)[1]] == [7, 13]


@settings(max_examples=150, deadline=None)
@given(at=st.integers(0, len(SHEET)), count=st.integers(0, 6), put=st.text(max_size=4))
def test_whatever_a_file_holds_is_a_sheet_or_has_a_place(at: int, count: int, put: str) -> None:
    text = SHEET[:at] + put + SHEET[at + count :]
    sheet, mistakes = read_sheet(text)
    assert (sheet is None) is bool(mistakes)
    lines = text.split("\n")
    for one in mistakes:
        assert 1 <= one.line <= len(lines) + 1
        assert one.column >= 1
    if sheet:
        place_in_score(sheet, SCORE)


@pytest.mark.outside
def test_what_is_written_is_toml_whatever_a_title_holds() -> None:
    """By Python's own reader of TOML 1.0."""
    title = 'A "Tune"\\ of\nours\x1b'
    text = write_sheet(title, "a b.xml", [ProposedPassage("3-4", "lh", 71.6, "LH bar 3: failed.")])
    plain = tomllib.loads(text)
    assert plain["piece"] == 'A "Tune"\\ of ours '
    assert plain["passage"] == [
        {"bars": "3-4", "hands": "lh", "tempo": 72, "clean": 3, "remark": "LH bar 3: failed."}
    ]


def tasks_of(text: str = SHEET) -> list[SheetTask]:
    sheet, _ = read_sheet(text)
    assert sheet
    return place_in_score(sheet, SCORE)[0]


def played(letters: str, qpm: float = 72.0) -> list[PlayedOnce]:
    """The first passage: ``c`` clean, ``w`` not, a bar is the night."""
    window = tasks_of()[0].goal.window
    key = str(window.start_quarters), str(window.end_quarters), window.hands.value
    return [
        PlayedOnce(float(day), key, one == "c", qpm)
        for day, ones in enumerate(letters.split("|"), start=1)
        for one in ones
    ]


@pytest.mark.parametrize(
    ("letters", "qpm", "day"),
    [("cc", 72, 1), ("cwc", 72, 0), ("cc|w", 72, 1), ("cc|cc", 70, 2), ("cc", 65, 0), ("", 72, 0)],
)
def test_a_passage_has_held_when_the_record_shows_its_clean_run(
    letters: str, qpm: float, day: int
) -> None:
    assert held_on(tasks_of()[0], played(letters, qpm), int) == day


def test_what_has_not_held_comes_first_and_of_that_what_is_due() -> None:
    first, second = tasks_of()
    third = replace(second, by=date(2026, 12, 1))
    tasks = [first, second, third]
    assert order_tasks(tasks, [0, 0, 0]) == [third, first, second]
    assert order_tasks(tasks, [0, 0, 9]) == [first, second, third]
    assert order_tasks(tasks, [7, 8, 9]) == tasks


def test_the_command_checks_and_says_what_has_held(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file, data = written(tmp_path), ["--data", str(tmp_path / "data")]
    assert main(["sheet", str(file), "--check", *data]) == 0
    said = capsys.readouterr().out
    assert said.splitlines()[:4] == [
        "Low Tide, by 10 December",
        "Three short sessions a day.",
        "1. bars 1 to 2, right hand alone, at 72, 2 clean running, by 3 December: not yet",
        "   Sing it first.",
    ]
    written(tmp_path, SHEET.replace("1-2", "1-99").replace("finger 4", "fingr 4"))
    assert main(["sheet", str(file), "--check", *data]) == 2
    said = capsys.readouterr().err
    assert f"{file}, line 7, column 1: There is no bar 99" in said
    written(tmp_path, SHEET.replace("1-low-tide", "none"))
    assert main(["sheet", str(file), *data]) == 2
    assert f"{file}, line 2, column 1: there is no file" in capsys.readouterr().err
    file.write_bytes(b"\xff")
    assert main(["sheet", str(file), *data]) == 2
    assert main(["sheet", str(tmp_path / "none.toml"), *data]) == 2


def test_a_sheet_is_written_from_a_session_and_can_be_followed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    score = SAMPLES / "4-waltz-in-sea-boots.musicxml"
    make_week(tmp_path / "data", score, 1, 3.0, 5)
    file = tmp_path / "new.toml"
    words = ["sheet", str(file), "--from-session", str(score), "--data", str(tmp_path / "data")]
    assert main(words) == 0
    assert not file.stat().st_mode & 0o077
    assert main(["sheet", str(file), "--check", "--data", str(tmp_path / "data")]) == 0
    assert "1. bar" in capsys.readouterr().out
    assert main(words) == 2  # never written over
    words[1] = str(tmp_path / "other.toml")
    words[-1] = str(tmp_path / "nobody")
    assert main(words) == 2
    assert "was weak when it was last played" in capsys.readouterr().err


def test_followed_it_leads_from_passage_to_passage_with_its_fingers(tmp_path: Path) -> None:
    from coach.cli.wiring import collaborators
    from coach.screens.interfaces import Errand

    opened = open_sheet(written(tmp_path), tmp_path, lambda text: None)
    options = Namespace(
        data=tmp_path, command="sheet", counting=None, keys=None, port=None, sheet=opened,
        sheet_tasks=order_tasks(opened.tasks, [0, 0]),
    )  # fmt: skip
    given = collaborators(options, Storage(options), None)
    score = given.open_score(opened.path, (), lambda text: None, lambda: False)
    assert score.notes[0].fingering == ("4",)
    session = given.make_session(score, opened.path, Errand.DRILL, 0.0)
    assert session.title == "Low Tide: 1 of 2 on the sheet"
    assert isinstance(session.drill, Drill)
    assert session.drill.coach.goal == opened.tasks[0].goal
    assert "Sing it first." in session.drill.assignment.reason
    after = session.next_drill
    assert after is not None
    assert after.where == "bar 3, hands together"
    second = after.make(1.0)
    assert isinstance(second.drill, Drill)
    assert second.drill.coach.goal == opened.tasks[1].goal
    again = given.make_session(score, opened.path, Errand.GO_ON, 2.0)  # opened anew: not from 1
    assert again.title == "Low Tide: 2 of 2 on the sheet"


def test_the_follower_ends_with_what_comes_after_the_last_passage(tmp_path: Path) -> None:
    from coach.cli.sessions import SessionMaker

    opened = open_sheet(written(tmp_path), tmp_path, lambda text: None)
    maker = SessionMaker(None)

    def tasks() -> Sequence[SheetTask]:
        return opened.tasks[1:]

    from coach.screens.interfaces import Errand

    follower = follow_sheet(
        opened, tasks(), lambda s, p, at, goal: maker.make(s, p, Errand.DRILL, at, goal)
    )
    session = follower.begin(SCORE, 0.0)
    assert session.next_drill is not None
    assert session.next_drill.reached == "The sheet is done for today."
