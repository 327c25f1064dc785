"""**kern, MEI and ABC, read by music21, with the notes counted."""

from pathlib import Path

import pytest

from coach.score.formats import FileKind, ScoreError
from coach.score.model import Hand
from coach.score.reading import read_score
from coach.score.reading.music21_formats import first_tune, written_notes
from tests.scorexml import all_said, opened

KERN = "\n".join(
    ["**kern\t**kern", "*clefF4\t*clefG2", "*M2/4\t*M2/4", "=1\t=1", "2C\t4c 4e", ".\t4d",
     "=2\t=2", "2C\t2r", "==\t==", "*-\t*-", ""]
)  # fmt: skip

ABC = 'X:1\nT:A tune\nM:4/4\nL:1/4\nK:D\nDEFG|A2 "Am"z2|\nX:2\nT:Another\nK:C\nCCCC|\n'


def test_kern_has_its_lowest_staff_first(tmp_path: Path) -> None:
    found = opened(tmp_path, KERN, "case.krn")
    assert all_said(found) == ["C3 @0 2 s2", "C4 @0 1 s1", "E4 @0 1 s1", "D4 @1 1 s1", "C3 @2 2 s2"]
    assert [n.hand for n in found.notes][:2] == [Hand.LEFT, Hand.RIGHT]
    assert not any("may be missing" in r.text for r in found.remarks)


def test_abc_gives_its_first_tune(tmp_path: Path) -> None:
    found = opened(tmp_path, ABC, "case.abc")
    assert [n.spelling.symbol for n in found.notes] == ["D4", "E4", "F#4", "G4", "A4"]
    assert "2 pieces" in found.remarks[0].text


def test_a_file_that_takes_too_much_memory_is_not_called_damaged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def runs_out(*given: str) -> None:
        raise MemoryError

    monkeypatch.setattr("coach.score.reading.music21_formats._parse", runs_out)
    with pytest.raises(MemoryError):
        opened(tmp_path, KERN, "case.krn")


@pytest.mark.outside
def test_mei_as_partitura_ships_it(tmp_path: Path) -> None:
    # The same three notes as in the MusicXML file beside it.
    partitura = pytest.importorskip("partitura")
    folder = Path(partitura.__file__).parent / "assets"
    mei = read_score(folder / "score_example.mei")
    xml = read_score(folder / "score_example.musicxml")
    assert [(n.pitch, n.onset_quarters, n.length_quarters) for n in mei.notes] == [
        (n.pitch, n.onset_quarters, n.length_quarters) for n in xml.notes
    ]


@pytest.mark.parametrize(
    ("kind", "text", "notes"),
    [
        (FileKind.KERN, KERN, 5),
        (
            FileKind.KERN,
            "**kern\t**dynam\n4c\tf\n*^\t*\n4d\t4e 4g\tp\n*v\t*v\t*\n4r\t.\n*-\t*-\n",
            4,
        ),
        (FileKind.ABC, first_tune(ABC)[0], 5),
        (FileKind.MEI, '<mei><note pname="c"/><rest/><chord><note/><note/></chord></mei>', 3),
    ],
)
def test_written_notes_are_counted(kind: FileKind, text: str, notes: int) -> None:
    assert written_notes(text, kind) == notes


def test_lost_notes_are_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("coach.score.reading.music21_formats.written_notes", lambda text, kind: 9)
    found = opened(tmp_path, KERN, "case.krn")
    assert "4 notes of the file may be missing" in found.remarks[0].text


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("**kern\n*M4/4\n", "cannot be read|no note"),
        ('<?xml version="1.0"?><!DOCTYPE mei [<!ENTITY a "b">]><mei>&a;</mei>', "entities"),
        ("<mei><unclosed></mei>", "cannot be read"),
    ],
)
def test_what_cannot_be_opened_says_so(tmp_path: Path, content: str, said: str) -> None:
    with pytest.raises(ScoreError, match=said):
        opened(tmp_path, content, "case.any")


def test_a_repeat_sign_in_mid_bar_cuts_a_bar_in_halves_and_shifts_nothing(tmp_path: Path) -> None:
    """A barline of **kern in mid-bar has no number (humdrum.org, the **kern representation)."""
    file = tmp_path / "halves.krn"
    rows = (
        "**kern\t**kern", "*clefF4\t*clefG2", "*M4/4\t*M4/4", "=1\t=1", "1C\t1c", "=2\t=2",
        "2C\t2g", "=:|!|:\t=:|!|:", "2D\t2b", "=3\t=3", "1C\t1c", "==\t==", "*-\t*-",
    )  # fmt: skip
    file.write_text("\n".join(rows) + "\n")
    found = read_score(file)
    bars = [(bar.number, int(bar.onset_quarters), int(bar.length_quarters)) for bar in found.bars]
    assert bars == [("1", 0, 4), ("2", 4, 2), ("2", 6, 2), ("3", 8, 4)]
    assert [bar.repeat_end for bar in found.bars] == [False, True, False, False]
    assert [bar.repeat_start for bar in found.bars] == [False, False, True, False]
    assert str(found.place(found.bars[2].onset_quarters)) == "bar 2, beat 3"
    assert [int(one.onset_quarters) for one in found.notes if one.staff == 1] == [0, 4, 6, 8]
