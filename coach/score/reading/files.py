"""A score file's bytes, what kind of file it is, and the score inside a compressed one.

The kind is told by the content, because names lie: a MusicXML file called ``.mid`` still opens.
"""

from __future__ import annotations

import io
import re
import struct
import zipfile
import zlib
from dataclasses import dataclass
from enum import Enum
from pathlib import Path

from coach.score.formats import ScoreError
from coach.score.reading.safe import parse_xml

LARGEST_BYTES = 64 * 1024 * 1024
"""A score larger than this, packed or unpacked, is refused (the largest known has a third)."""
MOST_NOTES = 100_000
"""Notes and rests of one score: the longest sonatas have under a tenth."""
_HEAD_BYTES = 4096
_OPENS = "Keyhole opens MusicXML (.musicxml, .xml, .mxl), MIDI (.mid), **kern, MEI and ABC"


class FileKind(Enum):
    """What a score file is."""

    MUSICXML = "MusicXML"
    MIDI = "MIDI"
    KERN = "**kern"
    MEI = "MEI"
    ABC = "ABC"


_LARGEST_KINDS = {FileKind.MIDI: 2 << 20, FileKind.KERN: 4 << 20, FileKind.ABC: 4 << 20}
_MOST_TRACKS = 256


@dataclass(frozen=True)
class Source:
    """A score file as it was read."""

    name: str
    """The file's name, for people."""
    kind: FileKind
    data: bytes


def load(path: Path) -> Source:
    """The file's content and kind, unpacked where it is compressed MusicXML.

    Raises ScoreError where it cannot be read, is empty, is too large or is no score.
    """
    data = _bytes_of(path)
    if data.startswith(b"PK\x03\x04"):
        data = _unpack(data, path.name)
    kind = _kind(data)
    if kind is None:
        raise ScoreError(
            f"{path.name} is not a score that can be read: {_OPENS}; export it as MusicXML."
        )
    _check_extent(path.name, kind, data)
    return Source(path.name, kind, data)


def _check_extent(name: str, kind: FileKind, data: bytes) -> None:
    """Refuse at once what would take minutes to be refused later."""
    if kind in _LARGEST_KINDS and len(data) > _LARGEST_KINDS[kind]:
        most = _LARGEST_KINDS[kind] >> 20
        raise ScoreError(f"{name} has more than {most} MiB of {kind.value}, which no score needs.")
    if kind is FileKind.MIDI and data.count(b"MTrk") > _MOST_TRACKS:
        raise ScoreError(f"{name} has more than {_MOST_TRACKS} tracks, which no score needs.")
    if data.count(b"<note>") + data.count(b"<note ") > MOST_NOTES:
        raise ScoreError(f"{name} has more than {MOST_NOTES:,} notes, which no score needs.")


def _bytes_of(path: Path) -> bytes:
    try:
        if path.is_dir():
            raise ScoreError(f"{path.name} is a folder: name a score file in it.")
        if path.stat().st_size > LARGEST_BYTES:
            raise ScoreError(f"{path.name} is larger than 64 MiB, which no score needs: refused.")
        data = path.read_bytes()
    except FileNotFoundError:
        raise ScoreError(f"{path.name} is not there: check the name and the folder.") from None
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise ScoreError(f"{path.name} cannot be read ({reason}): check its permissions.") from None
    if not data.strip():
        raise ScoreError(f"{path.name} is empty: export or download the score again.")
    return data


def _kind(data: bytes) -> FileKind | None:
    if data.startswith(b"MThd") or (data.startswith(b"RIFF") and data[8:12] == b"RMID"):
        return FileKind.MIDI
    head = data[:_HEAD_BYTES].replace(b"\x00", b"").decode("latin-1")
    if re.search(r"<(\w+:)?(score-partwise|score-timewise|opus)\b", _without_prologue(data)):
        return FileKind.MUSICXML
    if re.search(r"<(\w+:)?mei\b", head):
        return FileKind.MEI
    if re.search(r"^\*\*kern|\t\*\*kern", head, re.MULTILINE) or "**kern" in _first_lines(data):
        return FileKind.KERN
    if re.search(r"^X:\s*\d", head, re.MULTILINE) and re.search(r"^K:", _text(data), re.MULTILINE):
        return FileKind.ABC
    return None


def _text(data: bytes) -> str:
    return data.decode("latin-1").replace("\r", "\n")


def _first_lines(data: bytes) -> str:
    """The first line of a kern file that is no comment, whatever stands before it."""
    lines = (line for line in _text(data[: 16 * _HEAD_BYTES]).splitlines() if line)
    return next((line for line in lines if not line.startswith("!")), "")


def _without_prologue(data: bytes) -> str:
    """The beginning of an XML file as plain letters, long enough to hold its root element."""
    head = data[: 16 * _HEAD_BYTES].replace(b"\x00", b"").decode("latin-1")
    return head if "<" in head[:_HEAD_BYTES] else ""


def _unpack(data: bytes, name: str) -> bytes:
    """The score inside a compressed MusicXML file; nothing is ever written to the disk."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return _member(archive, _score_member(archive, name), name)
    except ScoreError:
        raise
    except (
        *(zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, OSError),
        *(ValueError, struct.error),  # what zipfile says to places outside the file
    ):
        raise ScoreError(
            f"{name} is a damaged or locked archive: export or download the score again."
        ) from None


def _member(archive: zipfile.ZipFile, member: str, name: str) -> bytes:
    # The size that the archive states may be a lie, so the reading itself is limited.
    with archive.open(member) as opened:
        data = opened.read(LARGEST_BYTES + 1)
    if len(data) > LARGEST_BYTES:
        raise ScoreError(f"{name} unpacks to more than 64 MiB, which no score needs: refused.")
    return data


def _score_member(archive: zipfile.ZipFile, name: str) -> str:
    """The score's name in the archive: as META-INF/container.xml says, else the likeliest."""
    names = archive.namelist()
    if "META-INF/container.xml" in names:
        root, _ = parse_xml(_member(archive, "META-INF/container.xml", name), name)
        for rootfile in root.iter("rootfile"):
            path = rootfile.get("full-path", "")
            media = rootfile.get("media-type", "")
            if path in names and (not media or "musicxml" in media):
                return path
    for wanted in (".musicxml", ".xml"):
        for member in names:
            if member.lower().endswith(wanted) and not member.startswith(("META-INF", "__MACOSX")):
                return member
    raise ScoreError(f"{name} is an archive without a MusicXML score in it: export it again.")
