"""Rows that can't be read any longer: set aside within the record, so that all else goes on."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass

from coach.record import rows


@dataclass(frozen=True, slots=True)
class BadRow:
    """A row that is not as it was written."""

    table: str
    """``repetition``, ``piece``, or ``state``: where the pianist stood in a piece."""
    id: int


def set_aside(db: sqlite3.Connection, bad: Iterable[BadRow], at_s: float) -> None:
    """Keep each row as it was found, and take it out of the way: within a transaction.

    A repetition is moved. Of a piece only what can't be read is made good, so that its repetitions
    stay with it.
    """
    for one in bad:
        if one.table == "repetition":
            _set_repetition_aside(db, one.id, at_s)
        elif one.table == "piece":
            _mend_piece(db, one.id, at_s)
        elif (row := _row(db, "piece", one.id)) is not None:
            keep_entry(db, "piece", row, at_s)
            forget = "UPDATE piece SET state = NULL, checksum = ? WHERE id = ?"
            db.execute(forget, (rows.piece_checksum(str(row["key"]), None), one.id))


def keep_entry(db: sqlite3.Connection, table: str, row: rows.Row, at_s: float) -> None:
    """Keep a row as it was found."""
    query = "INSERT INTO set_aside (at_s, table_name, entry) VALUES (?, ?, ?)"
    db.execute(query, (at_s, table, rows.as_json(row)))


def count_piece(db: sqlite3.Connection, piece: object) -> None:
    """Count a piece's repetitions anew."""
    query = """
        UPDATE piece SET (repetitions, clean) = (
            SELECT count(*), coalesce(sum(clean = 1), 0) FROM repetition WHERE piece_id = ?
        ) WHERE id = ?
    """
    db.execute(query, (piece, piece))


def _set_repetition_aside(db: sqlite3.Connection, number: int, at_s: float) -> None:
    if (row := _row(db, "repetition", number)) is None:  # another program has done it
        return
    keep_entry(db, "repetition", row, at_s)
    db.execute("DELETE FROM repetition WHERE id = ?", (number,))
    count_piece(db, row["piece_id"])


def _mend_piece(db: sqlite3.Connection, number: int, at_s: float) -> None:
    if (row := _row(db, "piece", number)) is None:
        return
    keep_entry(db, "piece", row, at_s)
    piece, used_at_s = rows.piece_in(*(row[c] for c in ("key", "title", "path", "used_at_s")))
    newest = "SELECT max(at_s) FROM repetition WHERE piece_id = ?"
    played_s = db.execute(newest, (number,)).fetchone()[0]
    if not used_at_s and rows.is_time(played_s):
        used_at_s = played_s
    mend = "UPDATE piece SET key = ?, title = ?, path = ?, used_at_s = ? WHERE id = ?"
    key = piece.key or f"unreadable {number}"
    db.execute(mend, (key, piece.title, piece.path, used_at_s, number))


def _row(db: sqlite3.Connection, table: str, number: int) -> rows.Row | None:
    found = db.execute(f"SELECT * FROM {table} WHERE id = ?", (number,))
    columns = [column[0] for column in found.description]
    row = found.fetchone()
    return None if row is None else dict(zip(columns, row, strict=True))


def told(repetitions: int, pieces: int) -> str:
    """One sentence on what was set aside."""
    what = []
    if repetitions:
        what.append("1 repetition" if repetitions == 1 else f"{repetitions} repetitions")
    if pieces:
        what.append("the entry of 1 piece" if pieces == 1 else f"the entries of {pieces} pieces")
    was = "was" if repetitions + pieces == 1 else "were"
    return (
        f"In the practice record {' and '.join(what)} {was} damaged: "
        f"{'it is' if was == 'was' else 'they are'} set aside there, and all else is as it was."
    )
