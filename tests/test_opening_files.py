"""Files that are no scores, and archives that would do harm: one sentence each."""

import io
import os
import socket
import struct
import sys
import zipfile
from pathlib import Path

import pytest

from coach.score.formats import ScoreError
from coach.score.opening import limits
from coach.score.opening.limits import check_archive, file_bytes, printable_name

posix = pytest.mark.skipif(sys.platform == "win32", reason="not on Windows")


def refusal(path: Path) -> str:
    with pytest.raises(ScoreError) as caught:
        file_bytes(path)
    return str(caught.value)


def test_what_is_not_there(tmp_path: Path) -> None:
    assert refusal(tmp_path / "no.mxl") == "no.mxl is not there: check the name and the folder."
    (tmp_path / "file").write_text("x")
    assert "is not there" in refusal(tmp_path / "file" / "no.mxl")


def test_a_folder_and_an_empty_file(tmp_path: Path) -> None:
    (tmp_path / "scores.mxl").mkdir()
    assert "is a folder: name a score file in it." in refusal(tmp_path / "scores.mxl")
    (tmp_path / "empty.xml").touch()
    assert refusal(tmp_path / "empty.xml").startswith("empty.xml is empty")


@posix
def test_a_pipe_a_socket_and_a_device_are_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.xml")
    assert "is a device or a pipe" in refusal(tmp_path / "pipe.xml")
    assert "is a device or a pipe" in refusal(Path("/dev/zero"))
    with socket.socket(socket.AF_UNIX) as line:
        line.bind(str(tmp_path / "s"))
        assert "is a device or a pipe" in refusal(tmp_path / "s")


@posix
def test_a_link_to_itself(tmp_path: Path) -> None:
    (tmp_path / "a.xml").symlink_to(tmp_path / "b.xml")
    (tmp_path / "b.xml").symlink_to(tmp_path / "a.xml")
    assert "leads back to itself" in refusal(tmp_path / "a.xml")


@posix
def test_a_file_that_may_not_be_read(tmp_path: Path) -> None:
    closed = tmp_path / "closed.xml"
    closed.write_text("<score-partwise/>")
    closed.chmod(0)
    if os.access(closed, os.R_OK):
        pytest.skip("this user may read everything")
    assert refusal(closed) == "closed.xml may not be read by you: change its permissions."


def test_names_that_no_file_can_have() -> None:
    assert "NUL" in refusal(Path("a\0b.xml"))
    assert "too long" in refusal(Path("a" * 5000 + ".xml"))
    assert len(refusal(Path("a" * 5000 + ".xml"))) < 200


def test_a_large_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "FILE_BYTES", 1 << 20)
    with (tmp_path / "large.xml").open("wb") as file:
        file.truncate((1 << 20) + 1)
    assert refusal(tmp_path / "large.xml").startswith("large.xml is larger than 1 MiB")


def test_a_name_cannot_carry_control_characters_to_the_terminal() -> None:
    assert printable_name(Path("a\x1b[2J\n.xml")) == "a?[2J .xml"
    assert printable_name(Path("/")) == "/"


# Archives


def zipped(members: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return out.getvalue()


def archive_refusal(data: bytes) -> str:
    with pytest.raises(ScoreError) as caught:
        check_archive(data, "a.mxl")
    return str(caught.value)


GOOD = zipped({"META-INF/container.xml": b"<container/>", "score.xml": b"<score-partwise/>" * 50})


def test_a_good_archive_passes() -> None:
    check_archive(GOOD, "a.mxl")
    check_archive(zipped({"s.xml": os.urandom(2 << 20)}), "a.mxl")


def test_a_long_and_dull_score_is_no_bomb() -> None:
    check_archive(zipped({"s.xml": b"<note><rest/></note>" * 40_000}), "a.mxl")


@pytest.mark.parametrize("kept", [10, len(GOOD) // 2, len(GOOD) - 5])
def test_a_truncated_archive(kept: int) -> None:
    assert archive_refusal(GOOD[:kept]).startswith("a.mxl is a damaged archive")


def test_a_bomb_by_ratio_and_by_size() -> None:
    assert "times its size" in archive_refusal(zipped({"s.xml": b" " * (5 << 20)}))
    bomb = zipped({f"{i}.xml": b" " * (5 << 20) for i in range(14)})
    assert "unpacks to 70 MiB" in archive_refusal(bomb)


def test_an_archive_of_very_many_files() -> None:
    assert "of more than 256 files" in archive_refusal(zipped({str(i): b"" for i in range(300)}))


@pytest.mark.parametrize(
    "name", ["../out.xml", "/etc/out.xml", "a/../../out.xml", "C:\\out.xml", "..\\out.xml"]
)
def test_an_archive_that_reaches_outside(name: str) -> None:
    assert f"names a file outside itself ({name})" in archive_refusal(zipped({name: b"x"}))


def test_an_archive_with_a_password() -> None:
    locked = bytearray(GOOD)
    for sign, place in ((b"PK\x01\x02", 8), (b"PK\x03\x04", 6)):
        at = locked.find(sign) + place
        struct.pack_into("<H", locked, at, 1)
    assert "locked with a password" in archive_refusal(bytes(locked))


def test_an_unusual_packing() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_LZMA) as archive:
        archive.writestr("s.xml", b"x" * 100)
    assert "packed in a way that MusicXML does not use" in archive_refusal(out.getvalue())
