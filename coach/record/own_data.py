"""What the owner of a record does with it as a whole: looks it over, copies it, joins it, forgets.

Each works while Keyhole runs beside it: a copy is SQLite's own, and changes are one transaction.
"""

from __future__ import annotations

import os
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from coach.private_files import make_private_file
from coach.record import rows
from coach.record.database import OPEN_WAIT_S, Damaged, Database
from coach.record.folder import RecordError
from coach.record.pieces import PieceKey
from coach.record.recovery import join

_PAGES = 1024
"""Pages copied at once, so that whoever writes meanwhile waits little: 4 MiB."""


@contextmanager
def open_record(path: Path) -> Iterator[Database]:
    """The record's file, which has to be there. Raises RecordError."""
    _expect_file(path)
    try:
        database = Database(path)
    except Damaged as error:
        raise RecordError(_describe_damage(path)) from error
    try:
        yield database
    except Damaged as error:
        raise RecordError(_describe_damage(path)) from error
    finally:
        database.close()


def _expect_file(path: Path) -> None:
    if not path.exists():
        raise RecordError(f"There is no practice record at {path}; name its folder with --data.")


def _describe_damage(path: Path) -> str:
    return (
        f"The practice record ({path}) is damaged: open Keyhole once, and it takes over what can "
        "still be read."
    )


@dataclass(frozen=True, slots=True)
class Findings:
    """What a look over the whole record found."""

    pieces: int
    repetitions: int
    unreadable: int
    """Repetitions that are not as they were written."""
    miscounted: int
    """Pieces whose counts are not those of their repetitions."""
    set_aside: int
    """Rows that were found damaged before and lie aside."""
    trouble: tuple[str, ...]
    """What SQLite itself finds wrong."""

    @property
    def is_sound(self) -> bool:
        """Whether all is as it was written."""
        return not (self.unreadable or self.miscounted or self.trouble)


_COUNTS = """
    SELECT piece.id, piece.repetitions, piece.clean, count(repetition.id),
        coalesce(sum(repetition.clean = 1), 0)
    FROM piece LEFT JOIN repetition ON repetition.piece_id = piece.id GROUP BY piece.id
"""


def look_over(db: sqlite3.Connection) -> Findings:
    """Every row against its checksum, every count against what it counts, and SQLite's own check
    (``PRAGMA integrity_check``, https://sqlite.org/pragma.html)."""
    trouble = [words for (words,) in db.execute("PRAGMA integrity_check") if words != "ok"]
    trouble += [
        f"{table} {row} belongs to no {parent}"
        for table, row, parent, _ in db.execute("PRAGMA foreign_key_check")
    ]
    every = db.execute(f"SELECT {rows.CHECKED} FROM repetition")
    sound = [rows.is_sound(row) for row in every]
    counts = list(db.execute(_COUNTS))
    (aside,) = db.execute("SELECT count(*) FROM set_aside").fetchone()
    return Findings(
        len(counts),
        len(sound),
        sound.count(False),
        sum((row[1], row[2]) != (row[3], row[4]) for row in counts),
        aside,
        tuple(map(str, trouble)),
    )


def rebuild(db: sqlite3.Connection) -> None:
    """Count every piece's repetitions anew, within a transaction, and make the indexes anew.

    The weak spots are found out anew when they are next asked for.
    """
    db.execute("DELETE FROM weak_spots")
    for (piece,) in db.execute("SELECT id FROM piece").fetchall():
        rows.count_piece(db, piece)
    db.execute("REINDEX")


def copy_to(path: Path, target: Path) -> None:
    """A whole copy of the record, also while it is in use, under its name once it is whole.

    Raises RecordError.
    """
    _expect_file(path)
    if target.exists():
        raise RecordError(f"{target} is there already; name another file for the copy.")
    part = target.with_name(f"{target.name}.part")
    try:
        part.unlink(missing_ok=True)
        make_private_file(part)
        with (
            open_record(path) as database,
            database.reading() as db,
            closing(sqlite3.connect(part)) as copy,
        ):
            db.backup(copy, pages=_PAGES)
            copy.execute("PRAGMA journal_mode = DELETE")  # one file, with nothing beside it
        os.replace(part, target)
    except OSError as error:
        raise RecordError(
            f"{target} can't be written ({error.strerror or error}); name another place."
        ) from error
    finally:
        part.unlink(missing_ok=True)


def join_copy(path: Path, other: Path) -> int:
    """Take another machine's record in, and leave that file as it is; how many repetitions came.

    Raises RecordError.
    """
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "other.sqlite3"
        copy_to(other, copy)
        with open_record(path) as into, open_record(copy) as source:
            before = _count_repetitions(into)
            with into.writing(OPEN_WAIT_S) as db, source.reading() as found:
                join(db, found)
            return _count_repetitions(into) - before


def _count_repetitions(database: Database) -> int:
    with database.reading() as db:
        return int(db.execute("SELECT count(*) FROM repetition").fetchone()[0])


def forget(db: sqlite3.Connection, piece: PieceKey) -> int:
    """Delete a piece and all that was ever played of it, within a transaction; how many
    repetitions those were. The space is written over."""
    number = rows.piece_id(db, piece)
    gone = db.execute("DELETE FROM repetition WHERE piece_id = ?", (number,)).rowcount
    for table in ("weak_spots", "bars", "plan"):
        db.execute(f"DELETE FROM {table} WHERE piece_id = ?", (number,))
    db.execute("DELETE FROM piece WHERE id = ?", (number,))
    db.execute(
        "DELETE FROM set_aside WHERE table_name IN ('piece', 'repetition') AND "
        "(json_extract(entry, '$.key') = ? OR json_extract(entry, '$.piece_id') = ?)",
        (piece.key, number),
    )
    return gone


def forget_piece(path: Path, piece: PieceKey) -> int:
    """The same in a record's file, of which nothing can be read back from the disk's free pages."""
    with open_record(path) as database:
        with database.reading() as db:
            db.execute("PRAGMA secure_delete = ON")
        with database.writing(OPEN_WAIT_S) as db:
            gone = forget(db, piece)
        with database.reading() as db:
            db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        return gone
