"""Where the record lies, whose file it is, and what can go wrong with it."""

from __future__ import annotations

import os
import re
import struct
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import platformdirs

from coach.private_files import make_private_folder, tighten

# What can go wrong with the record.


UNTIL_THEN = "Till then all is kept in memory."
"""What is to be said after an error of the record, where its ``Store`` goes on."""


class RecordError(Exception):
    """The record can't be used as asked; its text is one sentence that says what to do."""

    def __init__(self, sentence: str, brief: str = "") -> None:
        """``brief`` says the same in half a row, for a pianist who goes on playing."""
        super().__init__(sentence)
        self.brief = brief or sentence


class NotOurs(RecordError):
    """The record's file is another program's, and nothing will ever join it."""


# Whose SQLite file it is, told from its first bytes: before SQLite itself may touch it.
#
# SQLite leaves a log and an index of it beside a file that it has only looked at. So a file that
# may be another program's is read as bytes, or through SQLite's own promise to change nothing
# ("immutable"; https://sqlite.org/uri.html).


FILE = "record.sqlite3"
VERSION = 5
"""Of the record's tables, newest; see ``schema.py``."""
APPLICATION_ID = 0x6B657968
"""Marks a file as Keyhole's ("keyh" in ASCII), at byte 68 of its header."""

MAGIC = b"SQLite format 3\0"
_VERSION_AT, _APPLICATION_AT = 60, 68
"""Byte offsets in the header, each four bytes, big-endian (https://sqlite.org/fileformat.html)."""
_PAGE_AT, _FORMATS_AT = 16, (18, 19)
_HEADER_BYTES = 100
"""Where the page size and the two format numbers stand in the header, and how long it is (the same
page)."""


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


# Where the record and the cache lie: the platform's own folders, or those that are asked for.


APP = "keyhole"
VARIABLE = "KEYHOLE_DATA"
"""Names another data folder; the command line's ``--data`` goes before it."""


def data_folder(asked: str | Path | None = None, environ: Mapping[str, str] = os.environ) -> Path:
    """The folder of the record, made where it is missing.

    Raises RecordError where it can't be made or written to.
    """
    return _writable(named_folder(asked, environ))


def named_folder(asked: str | Path | None = None, environ: Mapping[str, str] = os.environ) -> Path:
    """The folder of the record, wherever it is; neither made nor tried."""
    named = asked or environ.get(VARIABLE)
    return Path(named).expanduser() if named else platformdirs.user_data_path(APP, False)


PIANISTS = "pianists"
"""The folder, within the data folder, of those who share the piano."""
_NAME = re.compile(r"[^\W_][\w .'-]{0,39}")


def pianist_folder(
    name: str, asked: str | Path | None = None, environ: Mapping[str, str] = os.environ
) -> Path:
    """The data folder of one of several pianists at one piano; neither made nor tried.

    Raises RecordError where the name can't be a folder's.
    """
    if not _NAME.fullmatch(name) or name.endswith((" ", ".")):
        raise RecordError(
            f"“{name}” can't be kept as a pianist's name: take letters, digits and spaces, at most "
            "40 of them."
        )
    return named_folder(asked, environ) / PIANISTS / name


def cache_folder(asked: str | Path | None = None, environ: Mapping[str, str] = os.environ) -> Path:
    """Where what can be made again is kept: within the data folder where one is asked for.

    Neither made nor tried: what can't be kept there is made again.
    """
    named = asked or environ.get(VARIABLE)
    return Path(named).expanduser() / "cache" if named else platformdirs.user_cache_path(APP, False)


def _writable(folder: Path) -> Path:
    import tempfile  # slow to import, and not needed before the first screen

    try:
        make_private_folder(folder)
        with tempfile.TemporaryFile(dir=folder):
            close_to_others(folder)
            return folder
    except OSError as error:
        raise RecordError(
            f"The folder {folder} can't be written to ({error.strerror or error}); choose another "
            f"with --data FOLDER or {VARIABLE}."
        ) from error


_OURS = re.compile(
    r"(record|unsaved|settings)[^/]*\.(sqlite3|json)(-wal|-shm|-journal|\.part)?"
    r"|mistake-[^/]*\.txt|unjudged-[^/]*\.mid|in-use\.lock"
    r"|cache|diary|hands|markings|parts|pianists|repeats"
)
"""The names of what Keyhole keeps in its folder."""
_COPIES = ("record-before-version-", "record-damaged-")
"""How the names of those records begin that bear no mark for certain, and are ours all the same."""


def close_to_others(folder: Path) -> None:
    """Take from others what an older Keyhole, or a lavish system, let them do.

    The files are always closed. The folder is where nothing else lies in it: one that the pianist
    shares with other things may be open for a reason, and what we keep there is closed anyway.
    """
    names = os.listdir(folder)
    ours = [name for name in names if _OURS.fullmatch(name) and _is_ours(folder, name)]
    for name in ours:
        if (folder / name).is_file():
            tighten(folder / name)
    if len(ours) == len(names):
        tighten(folder)


def _is_ours(folder: Path, name: str) -> bool:
    """Whether a file with a name of ours is not another program's database."""
    database = re.sub(r"-(wal|shm|journal)$", "", name)
    if not database.endswith(".sqlite3") or database.startswith(_COPIES):
        return True
    try:
        header = read_header(folder / database)
    except OSError:
        return False
    return header is None or header.application_id == APPLICATION_ID
