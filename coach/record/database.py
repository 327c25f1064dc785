"""The door to sqlite3: the record's file, opened, checked, and kept aside where it is damaged."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from coach.record.errors import RecordError
from coach.record.schema import VERSION, migrate, version_of

OPEN_WAIT_S = 2.0
"""How long opening and closing wait for another program that holds the record."""
SAVE_WAIT_S = 0.1
"""How long a repetition waits for it: the screen stands still meanwhile."""

_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}
_HELD = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_PROTOCOL}


class Damaged(Exception):
    """The file is no sound database."""


class Database:
    """One open SQLite file with the record's tables, newest version.

    Write-ahead logging, so that a reader never waits and a crash loses nothing that was committed.
    Raises RecordError from every method, Damaged where the file itself is broken.
    """

    def __init__(self, path: Path, wait_s: float = OPEN_WAIT_S) -> None:
        """``wait_s``: how long to wait for another program that holds the file."""
        self.path = path
        # A log left behind tells of a crash: then the whole file is looked through.
        crashed = Path(f"{path}-wal").exists()
        with translated(path):
            self._connection = sqlite3.connect(path, timeout=wait_s, isolation_level=None)
            try:
                self._prepare(crashed)
            except BaseException:
                self._connection.close()
                raise
        self._identity = _identity(path)

    def is_in_place(self) -> bool:
        """Whether the file still lies where it was opened: elsewhere sqlite would not notice."""
        return self._identity is not None and self._identity == _identity(self.path)

    def _prepare(self, crashed: bool) -> None:
        run = self._connection.execute
        if crashed and run("PRAGMA quick_check(1)").fetchone() != ("ok",):
            raise Damaged
        if version_of(self._connection) > VERSION:
            raise RecordError(
                f"{self.path} was written by a newer Keyhole; update Keyhole, or choose another "
                "folder with --data FOLDER.",
                "The record is a newer Keyhole's: update this one.",
            )
        run("PRAGMA journal_mode = WAL")
        run("PRAGMA synchronous = NORMAL")
        run("PRAGMA foreign_keys = ON")
        migrate(self._connection)

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """Queries."""
        with translated(self.path):
            yield self._connection

    @contextmanager
    def writing(self, wait_s: float = SAVE_WAIT_S) -> Iterator[sqlite3.Connection]:
        """One transaction: all of it is kept, or nothing."""
        run = self._connection.execute
        with translated(self.path):
            run(f"PRAGMA busy_timeout = {int(wait_s * 1000)}")
            run("BEGIN IMMEDIATE")
            try:
                yield self._connection
                run("COMMIT")
            except BaseException:
                if self._connection.in_transaction:
                    run("ROLLBACK")
                raise

    def close(self) -> None:
        """Close the file; the log is folded into it."""
        self._connection.close()


def _identity(path: Path) -> tuple[int, int] | None:
    """Which file that is, whatever it is called; None where there is none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


@contextmanager
def translated(path: Path) -> Iterator[None]:
    """sqlite3's errors as sentences for the pianist."""
    try:
        yield
    except sqlite3.DatabaseError as error:
        code = getattr(error, "sqlite_errorcode", 0) & 0xFF  # without the extended part
        if code in _DAMAGED:
            raise Damaged from error
        raise _said(path, code, error) from error


def _said(path: Path, code: int, error: sqlite3.Error) -> RecordError:
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


def dated(at_s: float) -> str:
    """A time, in unix seconds, for the name of a file."""
    return f"{datetime.fromtimestamp(at_s):%Y-%m-%d-%H%M%S}"


def keep_aside(path: Path, stamp: str) -> Path:
    """Move a damaged file, and what belongs to it, out of the way under a dated name."""
    aside = path.with_name(f"{path.stem}-damaged-{stamp}{path.suffix}")
    for ending in ("", "-wal", "-shm"):
        part = Path(f"{path}{ending}")
        if part.exists():
            part.rename(f"{aside}{ending}")
    return aside
