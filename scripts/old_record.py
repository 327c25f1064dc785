"""Records as they were kept up to version 2, made anew to try bringing them up to date.

A repetition was a row with its words as text and JSON, and rows of its own for each key, pedal
move and transition.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path
from typing import Any

from coach.coaching.drill.drill_events import RepetitionEnded
from coach.coaching.observations import observe_transitions
from coach.record import rows
from coach.record.packing import unpack_words
from coach.record.pieces import PieceKey
from coach.record.schema import MIGRATIONS

Row = dict[str, Any]

PARTS = ("note", "pedal", "observation")
_TEXTS = ("missed", "faults", "decision")


def make_old_record(path: Path, version: int = 2) -> None:
    """An empty record of that version."""
    steps = ";".join(MIGRATIONS[:version])
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA journal_mode = WAL")
        db.executescript(f"BEGIN; {steps}; PRAGMA user_version = {version}; COMMIT")


def old_rows(ended: RepetitionEnded, at_s: float, version: int = 2) -> dict[str, list[Row]]:
    """A repetition's rows, by their tables; without the ids."""
    new = rows.repetition_row(ended, at_s)
    words = unpack_words(new["words"])
    plain = {name: json.dumps(words[name]) if name in _TEXTS else words[name] for name in words}
    kept = {name: new[name] for name in ("start_quarters", "end_quarters", "hands", "clean", "qpm")}
    own = {"at_s": at_s, **kept, **plain}
    return {
        "repetition": [own],
        "note": _notes(ended),
        "pedal": [
            {"n": n, "controller": move.controller, "value": move.value, "at_s": move.at_s}
            for n, move in enumerate(ended.take.pedals)
        ],
        "observation": _observations(ended, at_s, version),
    }


def _notes(ended: RepetitionEnded) -> list[Row]:
    labels = {label.played: label for label in ended.judgement.played}
    errors = {label.played: label.error_ms for label in ended.judgement.score}
    out = []
    for n, note in enumerate(ended.take.notes):
        label = labels.get(n)
        out.append(
            {
                "n": n,
                "pitch": note.pitch,
                "velocity": note.velocity,
                "onset_s": note.onset_s,
                "length_s": note.length_s,
                "label": label and label.label.value,
                "score_note": label and label.note,
                "hand": label and label.hand and label.hand.value,
                "error_ms": errors.get(n),
            }
        )
    return out


def _observations(ended: RepetitionEnded, at_s: float, version: int) -> list[Row]:
    out = []
    for n, seen in enumerate(observe_transitions(ended.judgement, at_s)):
        row: Row = {
            "n": n,
            "hand": seen.transition.hands.value,
            "from_quarters": str(seen.transition.from_quarters),
            "to_quarters": str(seen.transition.to_quarters),
            "onset_quarters": str(seen.onset_quarters),
            "outcome": seen.outcome.value,
            "error_ms": seen.error_ms,
        }
        out.append({**row, "hears_late": seen.hears_late} if version > 1 else row)
    return out


def add_old(
    db: sqlite3.Connection,
    piece: PieceKey,
    ended: RepetitionEnded,
    at_s: float,
    state: Mapping[str, Any] | None = None,
    version: int = 2,
) -> None:
    """Save a repetition as that version did."""
    touch = """
        INSERT INTO piece (key, title, path, used_at_s, state) VALUES (?, ?, ?, ?, ?)
        ON CONFLICT (key) DO UPDATE SET used_at_s = excluded.used_at_s,
            state = coalesce(excluded.state, state)
    """
    plain = None if state is None else json.dumps(state)
    db.execute(touch, (piece.key, piece.title, piece.path, at_s, plain))
    found = db.execute("SELECT id FROM piece WHERE key = ?", (piece.key,)).fetchone()
    made = old_rows(ended, at_s, version)
    [own] = made.pop("repetition")
    number = _insert(db, "repetition", [{"piece_id": found[0], **own}])
    for table, part in made.items():
        _insert(db, table, [{"repetition_id": number, **row} for row in part])


def _insert(db: sqlite3.Connection, table: str, made: list[Row]) -> int:
    for row in made:
        places = ", ".join("?" * len(row))
        cursor = db.execute(
            f"INSERT INTO {table} ({', '.join(row)}) VALUES ({places})", tuple(row.values())
        )
    return int(cursor.lastrowid or 0) if made else 0
