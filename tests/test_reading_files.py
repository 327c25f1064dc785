"""Files: what kind they are, how they are encoded, and what a damaged or hostile one says."""

import io
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from coach.score.formats import ScoreError
from coach.score.reading import read_score
from tests.scorexml import all_said, bar, note, opened, piano

SCORE = piano(bar(note("C5", 4)), bar(note("D5", 4)))
BARE = SCORE.split("?>", 1)[1]
BOTH = ["C5 @0 4 s1", "D5 @4 4 s1"]


def packed(
    members: dict[str, bytes] | dict[str, str], compression: int = zipfile.ZIP_DEFLATED
) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", compression) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return held.getvalue()


CONTAINER = '<container><rootfiles><rootfile full-path="{}"/></rootfiles></container>'


def test_compressed_with_and_without_a_container(tmp_path: Path) -> None:
    members = {"META-INF/container.xml": CONTAINER.format("in/it.xml"), "in/it.xml": SCORE}
    assert all_said(opened(tmp_path, packed({**members, "other.xml": "<no/>"}))) == BOTH
    assert all_said(opened(tmp_path, packed({"score.xml": SCORE}))) == BOTH


@pytest.mark.parametrize("name", ["a.mxl", "a.xml", "a.mid", "a"])
def test_the_content_says_what_a_file_is_not_its_name(tmp_path: Path, name: str) -> None:
    assert all_said(opened(tmp_path, SCORE, name)) == BOTH


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_encodings(tmp_path: Path, encoding: str) -> None:
    declared = encoding.removesuffix("-sig")
    text = f'<?xml version="1.0" encoding="{declared}"?>' + BARE.replace("Piano", "Flügel")
    assert all_said(opened(tmp_path, text.encode(encoding))) == BOTH


def test_a_doctype_line_is_accepted_and_nothing_is_loaded(tmp_path: Path) -> None:
    doctype = (
        '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 3.1 Partwise//EN" '
        '"http://www.musicxml.org/dtds/partwise.dtd">'
    )
    found = opened(tmp_path, '<?xml version="1.0"?>' + doctype + BARE)
    assert all_said(found) == BOTH
    assert found.remarks == ()


@pytest.mark.parametrize(
    "subset",
    [
        '<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;">',
        '<!ENTITY a SYSTEM "file:///etc/passwd">',
        '<!ENTITY % a SYSTEM "http://127.0.0.1/x">%a;',
    ],
)
def test_entities_are_refused(tmp_path: Path, subset: str) -> None:
    text = f'<?xml version="1.0"?><!DOCTYPE score-partwise [{subset}]>' + BARE
    with pytest.raises(ScoreError, match=r"^case.musicxml declares XML entities"):
        opened(tmp_path, text)


@pytest.mark.parametrize(
    "damage",
    [
        lambda text: "\n\n" + text,
        lambda text: text.replace("Piano", "Piano & Co"),
        lambda text: text.replace("Piano", "Pi\x01ano"),
        lambda text: text.replace("UTF-8", "UTF-16"),
    ],
)
def test_damaged_characters_are_repaired_and_said(
    tmp_path: Path, damage: Callable[[str], bytes]
) -> None:
    found = opened(tmp_path, damage(SCORE))
    assert all_said(found) == BOTH
    assert [r.kind for r in found.remarks] == ["repaired"]


def test_latin_letters_in_a_file_that_says_utf_8(tmp_path: Path) -> None:
    found = opened(tmp_path, SCORE.replace("Piano", "Flügel").encode("latin-1"))
    assert all_said(found) == BOTH


def test_a_file_that_breaks_off_gives_its_whole_bars(tmp_path: Path) -> None:
    cut = SCORE[: SCORE.index("<octave>5", SCORE.index('number="2"'))]
    found = opened(tmp_path, cut)
    assert all_said(found) == ["C5 @0 4 s1"]
    assert "only the whole bars before that place were read" in found.remarks[0].text


def test_a_file_that_lacks_only_its_end_gives_every_bar(tmp_path: Path) -> None:
    found = opened(tmp_path, SCORE.removesuffix("</score-partwise>").removesuffix("</part>"))
    assert all_said(found) == BOTH
    assert found.remarks[0].kind == "left out"


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is empty"),
        (b"   \n", "is empty"),
        (b"hello", "is not a score that can be read"),
        (b"\x89PNG\r\n", "is a picture of a page"),
        (b"%PDF-1.7", "is a picture of a page"),
        (b"<score-partwise><part-list/>", "is damaged"),
        (b"<score-partwise/>", "holds no bars"),
        (b"<opus/>", "only a list of other score files"),
        (b"PK\x03\x04rubbish", "damaged or locked archive"),
        (packed({"readme.txt": "no"}), "without a MusicXML score"),
    ],
)
def test_what_cannot_be_opened_says_so_in_one_sentence(
    tmp_path: Path, content: bytes, said: str
) -> None:
    with pytest.raises(ScoreError, match=said) as error:
        opened(tmp_path, content)
    assert str(error.value).startswith("case.musicxml ")
    assert "\n" not in str(error.value)


@pytest.mark.parametrize("name", ["piece.mscz", "piece.gp", "piece.sib"])
def test_a_programs_own_file_says_where_to_export_it(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(b"PK\x03\x04 or anything")
    with pytest.raises(ScoreError, match="notation program's own file: open it there"):
        read_score(tmp_path / name)


def test_a_missing_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(ScoreError, match=r"none.xml is not there"):
        read_score(tmp_path / "none.xml")
    with pytest.raises(ScoreError, match=r"is a folder"):
        read_score(tmp_path)


def test_an_archive_that_unpacks_without_end_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ScoreError, match="unpacks to more than 64 MiB"):
        opened(tmp_path, packed({"score.xml": b" " * (65 * 1024 * 1024)}))
