"""Putting rows into the record's tables."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from coach.coaching.drill import RepetitionEnded
from coach.record import rows
from coach.record.piece import PieceKey


@dataclass(frozen=True, slots=True)
class Unsaved:
    """A repetition on its way into the file."""

    piece: PieceKey
    ended: RepetitionEnded
    at_s: float
    state: Mapping[str, Any] | None


def piece_id(db: sqlite3.Connection, piece: PieceKey) -> int | None:
    """The piece's row, or None."""
    found = db.execute("SELECT id FROM piece WHERE key = ?", (piece.key,)).fetchone()
    return found[0] if found else None


def touch(
    db: sqlite3.Connection, piece: PieceKey, at_s: float, state: Mapping[str, Any] | None
) -> int:
    """The piece's row, made or brought up to date."""
    query = """
        INSERT INTO piece (key, title, path, used_at_s, state, checksum)
        VALUES (?, ?, ?, ?, ?, ?)
        ON CONFLICT (key) DO UPDATE SET
            title = excluded.title, used_at_s = max(used_at_s, excluded.used_at_s),
            path = CASE excluded.path WHEN '' THEN path ELSE excluded.path END,
            state = coalesce(excluded.state, state),
            checksum = iif(excluded.state IS NULL, checksum, excluded.checksum)
    """
    plain = None if state is None else json.dumps(state)
    told = rows.piece_checksum(piece.key, plain)
    db.execute(query, (piece.key, piece.title, piece.path, at_s, plain, told))
    found = piece_id(db, piece)
    assert found is not None  # just made
    return found


def insert(db: sqlite3.Connection, unsaved: Unsaved) -> None:
    """A repetition with all that belongs to it."""
    piece = touch(db, unsaved.piece, unsaved.at_s, unsaved.state)
    add(db, piece, rows.repetition_row(unsaved.ended, unsaved.at_s))


def add(db: sqlite3.Connection, piece: int, row: rows.Row) -> None:
    """A repetition's row, counted with its piece."""
    columns = ", ".join(("piece_id", *row))
    places = ", ".join("?" * (len(row) + 1))
    query = f"INSERT INTO repetition ({columns}) VALUES ({places})"
    db.execute(query, (piece, *row.values()))
    count = "UPDATE piece SET repetitions = repetitions + 1, clean = clean + ? WHERE id = ?"
    db.execute(count, (row["clean"], piece))
