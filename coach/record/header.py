"""Whose SQLite file it is, told from its first bytes: before SQLite itself may touch it.

SQLite leaves a log and an index of it beside a file that it has only looked at. So a file that
may be another program's is read as bytes, or through SQLite's own promise to change nothing
("immutable"; https://sqlite.org/uri.html).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

FILE = "record.sqlite3"
VERSION = 4
"""Of the record's tables, newest; see ``schema.py``."""
APPLICATION_ID = 0x6B657968
"""Marks a file as Keyhole's ("keyh" in ASCII), at byte 68 of its header."""

MAGIC = b"SQLite format 3\0"
_VERSION_AT, _APPLICATION_AT = 60, 68
"""Byte offsets in the header, each four bytes, big-endian (https://sqlite.org/fileformat.html)."""
_PAGE_AT, _FORMATS_AT = 16, (18, 19)
_HEADER_BYTES = 100


@dataclass(frozen=True, slots=True)
class Header:
    """What the head of an SQLite file says."""

    version: int
    application_id: int
    is_sound: bool
    """Whether SQLite could make anything of it."""


def read_header(path: Path) -> Header | None:
    """The head of the file; None where there is none, or it is no SQLite file.

    What is still in the file's log is not seen. Raises OSError where it can't be read.
    """
    try:
        with path.open("rb") as file:
            head = file.read(_HEADER_BYTES)
    except FileNotFoundError:
        return None
    if len(head) < _HEADER_BYTES or not head.startswith(MAGIC):
        return None
    (version,) = struct.unpack_from(">i", head, _VERSION_AT)
    (application,) = struct.unpack_from(">i", head, _APPLICATION_AT)
    return Header(version, application, _is_sound(head))


def _is_sound(head: bytes) -> bool:
    """As the file format asks: a page size, and the two versions of reading and writing."""
    (page,) = struct.unpack_from(">H", head, _PAGE_AT)
    right_page = page == 1 or (page >= 512 and page & (page - 1) == 0)
    return right_page and all(head[at] in (1, 2) for at in _FORMATS_AT)


def is_older(path: Path) -> bool:
    """Whether it is a record that will first be brought to this version, which may take a while."""
    try:
        header = read_header(path)
    except OSError:
        return False
    return header is not None and 0 < header.version < VERSION
