"""The record's tables, and the steps from each version of them to the next.

Positions in the score are exact, as text ("7/2" quarters from the piece's start). ``at_s`` is unix
time in seconds; a take's own times are on the clock that it was played by.
"""

from __future__ import annotations

import sqlite3

_FIRST = """
CREATE TABLE piece (
    id INTEGER PRIMARY KEY,
    key TEXT NOT NULL UNIQUE,       -- digest of the notes
    title TEXT NOT NULL,
    path TEXT NOT NULL,
    used_at_s REAL NOT NULL,
    state TEXT                      -- where the pianist left off, as JSON
);
CREATE TABLE repetition (
    id INTEGER PRIMARY KEY,
    piece_id INTEGER NOT NULL REFERENCES piece,
    at_s REAL NOT NULL,
    -- what was asked for
    start_quarters TEXT NOT NULL,
    end_quarters TEXT NOT NULL,
    landing INTEGER NOT NULL,
    hands TEXT NOT NULL,
    asked_qpm REAL,
    stage TEXT NOT NULL,
    clean_required INTEGER NOT NULL,
    kind TEXT NOT NULL,
    click INTEGER NOT NULL,
    reason TEXT NOT NULL,
    -- what it was worth
    clean INTEGER NOT NULL,
    complete INTEGER NOT NULL,
    unsure INTEGER NOT NULL,
    qpm REAL,
    offset_ms REAL NOT NULL,
    sentence TEXT NOT NULL,
    missed TEXT NOT NULL,           -- score notes missed, as a JSON list of indices
    faults TEXT NOT NULL,           -- as a JSON list
    -- what followed from it
    decision TEXT NOT NULL          -- as JSON
);
CREATE INDEX repetition_of_piece ON repetition (piece_id, at_s);
CREATE TABLE note (
    repetition_id INTEGER NOT NULL REFERENCES repetition,
    n INTEGER NOT NULL,
    pitch INTEGER NOT NULL,
    velocity INTEGER NOT NULL,
    onset_s REAL NOT NULL,
    length_s REAL,
    label TEXT,                     -- what it was judged to be
    score_note INTEGER,             -- and of which note of the window
    hand TEXT,
    error_ms REAL,
    PRIMARY KEY (repetition_id, n)
) WITHOUT ROWID;
CREATE TABLE pedal (
    repetition_id INTEGER NOT NULL REFERENCES repetition,
    n INTEGER NOT NULL,
    controller INTEGER NOT NULL,
    value INTEGER NOT NULL,
    at_s REAL NOT NULL,
    PRIMARY KEY (repetition_id, n)
) WITHOUT ROWID;
CREATE TABLE observation (
    repetition_id INTEGER NOT NULL REFERENCES repetition,
    n INTEGER NOT NULL,
    hand TEXT NOT NULL,
    from_quarters TEXT NOT NULL,
    to_quarters TEXT NOT NULL,
    onset_quarters TEXT NOT NULL,
    outcome TEXT NOT NULL,
    error_ms REAL,
    PRIMARY KEY (repetition_id, n)
) WITHOUT ROWID;
"""

# The chance, 0 to 1, that a hesitation would have been heard in what was played.
_HEARS_LATE = "ALTER TABLE observation ADD COLUMN hears_late REAL NOT NULL DEFAULT 1.0"

MIGRATIONS = (_FIRST, _HEARS_LATE)
"""The step into each version, the first into version 1."""

VERSION = len(MIGRATIONS)


def version_of(connection: sqlite3.Connection) -> int:
    """The version of a record's tables; 0 for one that was just made."""
    version: int = connection.execute("PRAGMA user_version").fetchone()[0]
    return version


def migrate(connection: sqlite3.Connection) -> None:
    """Bring the tables to the newest version, each step whole or not at all."""
    while (version := version_of(connection)) < VERSION:
        step = (
            f"BEGIN IMMEDIATE; {MIGRATIONS[version]}; PRAGMA user_version = {version + 1}; COMMIT"
        )
        try:
            connection.executescript(step)
        except sqlite3.Error:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            if version_of(connection) <= version:  # else another process has taken the step
                raise
