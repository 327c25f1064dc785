"""Putting rows into the record's tables."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from coach.coaching.outcomes import RepetitionEnded
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
        INSERT INTO piece (key, title, path, used_at_s, state) VALUES (?, ?, ?, ?, ?)
        ON CONFLICT (key) DO UPDATE SET
            title = excluded.title, used_at_s = max(used_at_s, excluded.used_at_s),
            path = CASE excluded.path WHEN '' THEN path ELSE excluded.path END,
            state = coalesce(excluded.state, state)
    """
    plain = None if state is None else json.dumps(state)
    db.execute(query, (piece.key, piece.title, piece.path, at_s, plain))
    found = piece_id(db, piece)
    assert found is not None  # just made
    return found


def insert(db: sqlite3.Connection, unsaved: Unsaved) -> None:
    """A repetition with all that belongs to it."""
    piece = touch(db, unsaved.piece, unsaved.at_s, unsaved.state)
    row = rows.repetition_row(unsaved.ended, unsaved.at_s)
    repetition_id = add(db, "repetition", [{"piece_id": piece, **row}])
    for table, made in (
        ("note", rows.note_rows(unsaved.ended)),
        ("pedal", rows.pedal_rows(unsaved.ended)),
        ("observation", rows.observation_rows(unsaved.ended, unsaved.at_s)),
    ):
        add(db, table, [{"repetition_id": repetition_id, **row} for row in made])


def add(db: sqlite3.Connection, table: str, made: Iterable[rows.Row]) -> int:
    """Insert rows that all have the same columns; the last one's id."""
    made = list(made)
    if made:
        columns = ", ".join(made[0])
        places = ", ".join("?" * len(made[0]))
        query = f"INSERT INTO {table} ({columns}) VALUES ({places})"
        db.executemany(query, [tuple(row.values()) for row in made])
    return int(db.execute("SELECT last_insert_rowid()").fetchone()[0])
