"""Taking one record's rows into another: nothing twice, nothing lost."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing, suppress
from pathlib import Path

from coach.record.database import OPEN_WAIT_S, Database
from coach.record.inserting import add
from coach.record.rows import Row

_PARTS = ("note", "pedal", "observation")


def join_file(into: Database, beside: Path) -> None:
    """Take a record's file in, in one transaction, and then remove the file.

    Raises RecordError or Damaged, and then leaves both as they were.
    """
    other = Database(beside)
    try:
        with into.writing(OPEN_WAIT_S) as db, other.reading() as source:
            join(db, source)
    finally:
        other.close()
    beside.unlink(missing_ok=True)


def rescue(into: Database, damaged: Path) -> int:
    """Take over every repetition of a damaged file that can still be read; how many those are.

    The damaged file is only read.
    """
    rescued = 0
    source = sqlite3.connect(f"{damaged.absolute().as_uri()}?mode=ro", uri=True)
    with closing(source), into.writing(OPEN_WAIT_S) as db, suppress(sqlite3.DatabaseError):
        last = source.execute("SELECT max(id) FROM repetition").fetchone()[0] or 0
        pieces = {row["id"]: _join_piece(db, row) for row in _rows(source, "SELECT * FROM piece")}
        for number in range(1, last + 1):
            with suppress(sqlite3.DatabaseError, KeyError):  # this one is lost; the next may not be
                for row in _rows(source, "SELECT * FROM repetition WHERE id = ?", number):
                    _join_repetition(db, source, pieces[row["piece_id"]], row, _rows_left)
                    rescued += 1
    return rescued


def join(into: sqlite3.Connection, source: sqlite3.Connection) -> None:
    """Take in every piece and repetition that is not there yet.

    A repetition is known again by its piece and its time.
    """
    for piece in _rows(source, "SELECT * FROM piece ORDER BY id"):
        piece_id = _join_piece(into, piece)
        query = "SELECT * FROM repetition WHERE piece_id = ? ORDER BY id"
        for repetition in _rows(source, query, piece["id"]):
            _join_repetition(into, source, piece_id, repetition, _rows)


def _join_piece(into: sqlite3.Connection, piece: Row) -> int:
    """The piece's row there; whichever record used it last knows where the pianist stands."""
    query = """
        INSERT INTO piece (key, title, path, used_at_s, state) VALUES (?, ?, ?, ?, ?)
        ON CONFLICT (key) DO UPDATE SET
            title = excluded.title, path = excluded.path, used_at_s = excluded.used_at_s,
            state = coalesce(excluded.state, state)
        WHERE excluded.used_at_s > used_at_s
    """
    into.execute(query, [piece[c] for c in ("key", "title", "path", "used_at_s", "state")])
    found = into.execute("SELECT id FROM piece WHERE key = ?", (piece["key"],)).fetchone()
    return int(found[0])


def _join_repetition(
    into: sqlite3.Connection,
    source: sqlite3.Connection,
    piece_id: int,
    repetition: Row,
    read: Callable[..., Iterable[Row]],
) -> None:
    known = "SELECT 1 FROM repetition WHERE piece_id = ? AND at_s = ?"
    if into.execute(known, (piece_id, repetition["at_s"])).fetchone():
        return
    of = "SELECT * FROM {} WHERE repetition_id = ? ORDER BY n"
    # All is read before anything is written: an error must not leave half a repetition.
    parts = {table: list(read(source, of.format(table), repetition["id"])) for table in _PARTS}
    del repetition["id"]
    new = add(into, "repetition", [{**repetition, "piece_id": piece_id}])
    for table, part in parts.items():
        add(into, table, [{**row, "repetition_id": new} for row in part])


def _rows(db: sqlite3.Connection, query: str, *values: object) -> Iterator[Row]:
    found = db.execute(query, values)
    columns = [column[0] for column in found.description]
    for row in found.fetchall():
        yield dict(zip(columns, row, strict=True))


def _rows_left(db: sqlite3.Connection, query: str, *values: object) -> list[Row]:
    """The rows, or none where the damage lies there."""
    try:
        return list(_rows(db, query, *values))
    except sqlite3.DatabaseError:
        return []
