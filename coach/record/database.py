"""The door to sqlite3: the record's file, opened, checked, and kept aside where it is damaged."""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from datetime import datetime
from pathlib import Path

from coach.private_files import make_private_file, tighten
from coach.record.folder import APPLICATION_ID, VERSION, NotOurs, RecordError, read_header
from coach.record.schema import (
    bring_up_to_date,
    is_a_record,
    is_as_written,
    is_whole,
    tables_of,
    transaction,
    version_of,
)

OPEN_WAIT_S = 2.0
"""How long opening and closing wait for another program that holds the record."""
SAVE_WAIT_S = 0.1
"""How long a repetition waits for it: the screen stands still meanwhile."""

Say = Callable[[str], None]
"""Told what takes long."""

_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}
_HELD = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_PROTOCOL}
_OUTSIDE = {
    *_HELD,
    sqlite3.SQLITE_FULL,
    sqlite3.SQLITE_READONLY,
    sqlite3.SQLITE_IOERR,
    sqlite3.SQLITE_CANTOPEN,
    sqlite3.SQLITE_PERM,
    sqlite3.SQLITE_AUTH,
    sqlite3.SQLITE_INTERRUPT,
    sqlite3.SQLITE_NOLFS,
}
"""What goes wrong around a file; anything else may be the file itself."""
_NEWEST_VERSION = VERSION + 1000
"""A version beyond this is no newer Keyhole's, but damage."""
_ALWAYS_CHECKED_BYTES, _CHECKED_BYTES = 4 << 20, 64 << 20
"""Files up to the first size are looked through whenever they are opened, up to the second after a
crash: 5 ms and 0.4 s as measured. Damage in a larger one is found when it is read. Own choice."""
_PARTS = ("", "-wal", "-shm", "-journal")
"""What SQLite may have beside a file."""


_RAISED = (sqlite3.Error, MemoryError, OverflowError, UnicodeError)
"""What sqlite3 raises, the last three where a damaged file names absurd sizes and names."""


class Damaged(Exception):
    """The file is no sound database."""


class Database:
    """One open SQLite file with the record's tables, newest version.

    Write-ahead logging, so that a reader never waits and a crash loses nothing that was committed.
    A file that is not the record's is not touched. Raises RecordError from every method, Damaged
    where the file itself is broken.
    """

    def __init__(
        self,
        path: Path,
        wait_s: float = OPEN_WAIT_S,
        *,
        say: Say | None = None,
        backup: Path | None = None,
    ) -> None:
        """``wait_s``: how long to wait for another program that holds the file.

        ``say`` is told how far an older record has been brought up to date; ``backup`` is where it
        is first copied to, as it is.
        """
        self.path = path
        self.was_backed_up = False
        """Whether there is such a copy now."""
        with self._translate_errors():
            crashed = _look_at(path)
            self._connection = sqlite3.connect(path, timeout=wait_s, isolation_level=None)
            self._connection.text_factory = text_or_bytes
        try:
            with self._translate_errors():
                self._prepare(crashed, say or _tell_nobody, backup)
        except BaseException:
            self._connection.close()
            raise
        for part in _PARTS:
            tighten(Path(f"{path}{part}"))
        self._identity = _identity(path)

    def is_in_place(self) -> bool:
        """Whether the file still lies where it was opened: elsewhere sqlite would not notice."""
        return self._identity is not None and self._identity == _identity(self.path)

    def _prepare(self, crashed: bool, say: Say, backup: Path | None) -> None:
        run = self._connection.execute
        size = self.path.stat().st_size
        looks = size <= _ALWAYS_CHECKED_BYTES or (crashed and size <= _CHECKED_BYTES)
        if looks and run("PRAGMA integrity_check(1)").fetchone() != ("ok",):
            raise Damaged
        version = version_of(self._connection)
        if VERSION < version <= _NEWEST_VERSION:
            raise RecordError(
                f"{self.path} was written by a newer Keyhole; update Keyhole, or choose another "
                "folder with --data FOLDER.",
                "The record is a newer Keyhole's: update this one.",
            )
        if not 0 <= version <= VERSION or not is_whole(self._connection):
            raise Damaged
        if version == 0:  # before there is a log, so that the file itself bears the mark
            run(f"PRAGMA application_id = {APPLICATION_ID}")
        run("PRAGMA journal_mode = WAL")
        run("PRAGMA synchronous = NORMAL")
        run("PRAGMA cell_size_check = ON")  # find damage, and don't follow it
        self.was_backed_up = bring_up_to_date(self._connection, say, backup)
        run("PRAGMA foreign_keys = ON")

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """Queries."""
        with self._translate_errors():
            yield self._connection

    @contextmanager
    def writing(self, wait_s: float = SAVE_WAIT_S) -> Iterator[sqlite3.Connection]:
        """One transaction: all of it is kept, or nothing."""
        run = self._connection.execute
        with self._translate_errors():
            run(f"PRAGMA busy_timeout = {int(wait_s * 1000)}")
            with transaction(self._connection):
                yield self._connection

    def close(self) -> None:
        """Close the file; the log is folded into it."""
        with suppress(sqlite3.Error):
            self._connection.close()

    @contextmanager
    def _translate_errors(self) -> Iterator[None]:
        """sqlite3's errors as sentences for the pianist."""
        try:
            yield
        except _RAISED as error:
            code = getattr(error, "sqlite_errorcode", 0) & 0xFF  # without the extended part
            if code in _DAMAGED or (code not in _OUTSIDE and not self._holds_together()):
                raise Damaged from error
            raise _make_sentence(self.path, code, error) from error
        except OSError as error:
            raise _make_sentence(self.path, sqlite3.SQLITE_CANTOPEN, error) from error

    def _holds_together(self) -> bool:
        """Whether the file itself is sound: then what went wrong is something else."""
        if not hasattr(self, "_connection"):
            return True
        try:
            checked = self._connection.execute("PRAGMA quick_check(1)").fetchone()
            sound = checked == ("ok",) and is_whole(self._connection)
            return sound and is_as_written(self._connection)
        except _RAISED:
            return False


def _tell_nobody(text: str) -> None:
    """Tell nobody."""


def text_or_bytes(raw: bytes) -> object:
    """Text as it is kept; the bytes where it is none."""
    try:
        return raw.decode()
    except UnicodeDecodeError:
        return raw


def _look_at(path: Path) -> bool:
    """Make the file where there is none; whether a crash may have left it.

    Raises RecordError where it is another program's, Damaged where it is no database, OSError.
    """
    if make_private_file(path):
        for part in _PARTS[1:]:  # of a file that is gone: they must not be taken for this one's
            Path(f"{path}{part}").unlink(missing_ok=True)
        return False
    # A log left behind tells of a crash: then the whole file is looked through.
    crashed = Path(f"{path}-wal").exists() or Path(f"{path}-journal").exists()
    if path.stat().st_size == 0:
        return crashed
    header = read_header(path)
    if header is None or not header.is_sound:
        raise Damaged
    if header.application_id != APPLICATION_ID and not _is_ours(path, header.application_id):
        raise NotOurs(
            f"{path} is another program's file and was left alone; choose another folder with "
            "--data FOLDER, or move that file.",
            "The record's file is another program's.",
        )
    return crashed


def _is_ours(path: Path, application_id: int) -> bool:
    """Whether a file without our mark is a record all the same; it is only read."""
    try:
        with closing(_only_read(path)) as db:
            if tables_of(db):
                return is_a_record(db)
            version = version_of(db)
        if not Path(f"{path}-wal").exists():
            return version == application_id == 0
    except sqlite3.Error as error:
        if application_id == 0:
            raise Damaged from error
        return False
    return _is_ours_with_its_log(path)


def _is_ours_with_its_log(path: Path) -> bool:
    """The same for a file that was just made when its program was ended: all is in the log."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / path.name
        for part in ("", "-wal"):
            shutil.copyfile(f"{path}{part}", f"{copy}{part}")
        with suppress(sqlite3.Error), closing(sqlite3.connect(copy)) as db:
            return is_a_record(db) if tables_of(db) else version_of(db) == 0
    return False


def _only_read(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro&immutable=1", uri=True)


def _identity(path: Path) -> tuple[int, int] | None:
    """Which file that is, whatever it is called; None where there is none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _make_sentence(path: Path, code: int, error: BaseException) -> RecordError:
    if code in _HELD:
        return RecordError(
            f"Another program holds the practice record ({path}); close that program.",
            "Another program holds the record: close it.",
        )
    if code == sqlite3.SQLITE_FULL:
        return RecordError(
            f"The disk is full, so the practice record ({path}) can't grow; free some space.",
            "The disk is full: free some space.",
        )
    return RecordError(
        f"The practice record ({path}) can't be used ({error}); check the folder's rights, or "
        "choose another with --data FOLDER.",
        "The record can't be written to.",
    )


def format_date(at_s: float) -> str:
    """A time, in unix seconds, for the name of a file."""
    return f"{datetime.fromtimestamp(at_s):%Y-%m-%d-%H%M%S}"


def keep_aside(path: Path, stamp: str) -> Path:
    """Move a damaged file, and what belongs to it, out of the way under a dated name."""
    aside = _free(path.with_name(f"{path.stem}-damaged-{stamp}{path.suffix}"))
    for ending in _PARTS:
        part = Path(f"{path}{ending}")
        if part.exists():
            part.rename(f"{aside}{ending}")
            tighten(Path(f"{aside}{ending}"))
    return aside


def _free(path: Path) -> Path:
    """The name, or the next that no file has: what was kept before must not be written over."""
    count, free = 2, path
    while free.exists():
        free = path.with_name(f"{path.stem}-{count}{path.suffix}")
        count += 1
    return free
