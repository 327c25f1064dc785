"""A score file's bytes, and the score inside a compressed one."""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path

from coach.score.formats import FORMATS, FileKind, ScoreError, name_formats, recognise_format
from coach.score.reading.safe import parse_xml

LARGEST_BYTES = 64 * 1024 * 1024
"""A score larger than this, packed or unpacked, is refused (the largest known has a third)."""
MOST_NOTES = 100_000
"""Notes and rests of one score: the longest sonatas have under a tenth."""


_MOST_TRACKS = 256
"""Own choice: ten times what an orchestral file has."""


@dataclass(frozen=True)
class Source:
    """A score file as it was read."""

    name: str
    """The file's name, for people."""
    kind: FileKind
    data: bytes
    part: str = ""
    """The part that is asked for, by name or number; "" for the piano that is found."""


def load(path: Path, part: str = "") -> Source:
    """The file's content and kind, unpacked where it is compressed MusicXML.

    Raises ScoreError where it cannot be read, is empty, is too large or is no score.
    """
    data = _bytes_of(path)
    _refuse_what_is_no_exchange(path, data)
    if data.startswith(b"PK\x03\x04"):
        data = _unpack(data, path.name)
    kind = recognise_format(data)
    if kind is None:
        raise ScoreError(
            f"{path.name} is not a score that can be read: Keyhole opens {name_formats()}; "
            "export it as MusicXML."
        )
    _check_extent(path.name, kind, data)
    return Source(path.name, kind, data, part)


_PROGRAMS_OWN = {
    *(".mscz", ".mscx", ".gp", ".gp3", ".gp4", ".gp5", ".gpx", ".gtp", ".sib", ".mus", ".musx"),
    *(".enc", ".ly", ".dorico", ".cap", ".capx", ".ove", ".ptb", ".nwc"),
}
"""Ends of names that notation programs give to files that only they read. From memory."""
_PICTURES = (b"%PDF", b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"II*\x00", b"MM\x00*")
"""How files of pictures and of pages begin (their formats' own specifications)."""


def _refuse_what_is_no_exchange(path: Path, data: bytes) -> None:
    """Say why a file that musicians have can't be opened, and what to do with it."""
    if data.startswith(_PICTURES):
        raise ScoreError(
            f"{path.name} is a picture of a page, without notes that a program could read: open a "
            "MusicXML or MIDI file of the piece."
        )
    own = path.suffix.lower() in _PROGRAMS_OWN
    if own and recognise_format(data) is None:
        raise ScoreError(
            f"{path.name} is a notation program's own file: open it there, and export it as "
            "MusicXML."
        )


def _check_extent(name: str, kind: FileKind, data: bytes) -> None:
    """Refuse at once what would take minutes to be refused later."""
    most = FORMATS[kind].largest_bytes
    if most is not None and len(data) > most:
        raise ScoreError(
            f"{name} has more than {most >> 20} MiB of {kind.value}, which no score needs."
        )
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
