"""A compressed score (.mxl) is looked over before anything in it is unpacked.

A MusicXML archive is a zip file (MusicXML 4.0, "Compressed .mxl files"). zipfile never inflates
a member beyond the size that the archive's directory states, so limits on the stated sizes hold.
"""

from __future__ import annotations

import zipfile
from io import BytesIO
from pathlib import PurePosixPath, PureWindowsPath

from coach.score.errors import ScoreError
from coach.score.opening.limits import ARCHIVE_FILES, ARCHIVE_RATIO, INFLATED_BYTES
from coach.score.words import printable

_DIRECTORY_ENTRY = b"PK\x01\x02"
_ENCRYPTED = 0x1
_SMALL = 1 << 20


def is_archive(data: bytes) -> bool:
    """Whether these bytes begin as a zip file does."""
    return data.startswith(b"PK")


def check_archive(data: bytes, name: str) -> None:
    """Raise ScoreError where the archive ``name`` is broken or could do harm by being unpacked."""
    # Counted before zipfile makes an object for each.
    if data.count(_DIRECTORY_ENTRY) > ARCHIVE_FILES:
        raise ScoreError(
            f"{name} is an archive of more than {ARCHIVE_FILES} files, not a score: refused."
        )
    try:
        with zipfile.ZipFile(BytesIO(data)) as archive:
            members = archive.infolist()
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as error:
        raise ScoreError(
            f"{name} is a damaged archive: export or download the score again."
        ) from error
    for member in members:
        _check_member(member, name)
    _check_sizes(members, len(data), name)


def _check_member(member: zipfile.ZipInfo, name: str) -> None:
    inside = printable(member.filename, 60)
    path, windows = PurePosixPath(member.filename), PureWindowsPath(member.filename)
    if path.is_absolute() or windows.anchor or ".." in windows.parts:
        raise ScoreError(
            f"{name} is an archive that names a file outside itself ({inside}): refused."
        )
    if member.flag_bits & _ENCRYPTED:
        raise ScoreError(f"{name} is locked with a password ({inside}): unpack it first.")
    if member.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise ScoreError(
            f"{name} is packed in a way that MusicXML does not use ({inside}): export it again."
        )


def _check_sizes(members: list[zipfile.ZipInfo], packed: int, name: str) -> None:
    total = sum(member.file_size for member in members)
    if total > INFLATED_BYTES:
        raise ScoreError(
            f"{name} unpacks to {total / (1 << 20):,.0f} MiB,"
            f" and no score needs more than {INFLATED_BYTES >> 20}: refused."
        )
    if total > _SMALL and total > ARCHIVE_RATIO * packed:
        raise ScoreError(
            f"{name} unpacks to {total / packed:,.0f} times its size, as no score does: refused."
        )
