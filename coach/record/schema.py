"""The record's tables, and the steps from each version of them to the next.

A repetition is one row of some 400 bytes: what is looked for stands in columns of its own, the
rest is packed (``packing.py``): ``take`` are the keys and pedals with what each was judged to be,
``moves`` what was observed in each transition of each hand, ``words`` what was asked for and what
was said of it. ``checksum`` is over all of that, so that a row that is not as it was written is
known. Positions in the score are exact, as text ("7/2" quarters from the piece's start).
``at_s`` is unix time in seconds; a take's own times are on the clock that it was played by.

Of each piece ``weak_spots`` keeps what was found out of its repetitions (``spots.py``), ``bars`` a
digest of each bar, by which a corrected score is known (``lineage.py``), and ``plan`` until when it
is to be learnt.

``set_aside`` holds, as JSON, each row that could not be read any longer, as it was found.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress

from coach.record.folder import APPLICATION_ID, VERSION

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

# Each repetition one row. The old tables stay until all of their rows were moved.
_ONE_ROW = f"""
PRAGMA application_id = {APPLICATION_ID};
DROP INDEX repetition_of_piece;
ALTER TABLE repetition RENAME TO old_repetition;
ALTER TABLE note RENAME TO old_note;
ALTER TABLE pedal RENAME TO old_pedal;
ALTER TABLE observation RENAME TO old_observation;
ALTER TABLE piece ADD COLUMN checksum INTEGER;
ALTER TABLE piece ADD COLUMN repetitions INTEGER NOT NULL DEFAULT 0;
ALTER TABLE piece ADD COLUMN clean INTEGER NOT NULL DEFAULT 0;
CREATE TABLE repetition (
    id INTEGER PRIMARY KEY,
    piece_id INTEGER NOT NULL REFERENCES piece,
    at_s REAL NOT NULL,
    start_quarters TEXT NOT NULL,
    end_quarters TEXT NOT NULL,
    hands TEXT NOT NULL,
    clean INTEGER NOT NULL,
    qpm REAL,
    moves BLOB NOT NULL,
    take BLOB NOT NULL,
    words BLOB NOT NULL,
    checksum INTEGER NOT NULL       -- over at_s to words
);
CREATE INDEX repetition_of_piece ON repetition (piece_id, at_s);
CREATE INDEX piece_by_time ON piece (used_at_s);
CREATE TABLE set_aside (
    id INTEGER PRIMARY KEY,
    at_s REAL NOT NULL,             -- when it was found
    table_name TEXT NOT NULL,
    entry TEXT NOT NULL             -- the row as it was found, as JSON; bytes in hexadecimal
);
CREATE TABLE moved (up_to INTEGER NOT NULL);
INSERT INTO moved VALUES (0)
"""

_ALL_MOVED = """
UPDATE piece SET
    repetitions = (SELECT count(*) FROM repetition WHERE piece_id = piece.id),
    clean = (SELECT coalesce(sum(clean), 0) FROM repetition WHERE piece_id = piece.id);
DROP TABLE old_observation;
DROP TABLE old_pedal;
DROP TABLE old_note;
DROP TABLE old_repetition;
DROP TABLE moved
"""

# What is known of a piece over the days. No row here has as many values as a piece or a repetition:
# by that a damaged file's rows are told apart (``salvage.py``).
_DAYS = """
CREATE TABLE weak_spots (
    piece_id INTEGER PRIMARY KEY REFERENCES piece,
    until_s REAL NOT NULL,          -- what was played before it is in them
    repetitions INTEGER NOT NULL,   -- how many those were
    spots TEXT NOT NULL,            -- as they stood then, as JSON
    checksum INTEGER NOT NULL       -- over until_s to spots
);
CREATE TABLE bars (
    piece_id INTEGER PRIMARY KEY REFERENCES piece,
    digests TEXT NOT NULL           -- where each bar begins, and a digest of it, as JSON
);
CREATE TABLE plan (
    piece_id INTEGER PRIMARY KEY REFERENCES piece,
    by_day TEXT NOT NULL,           -- such as 2026-12-12
    minutes REAL NOT NULL           -- a day
)
"""

MIGRATIONS = (_FIRST, _HEARS_LATE, _ONE_ROW, _ALL_MOVED, _DAYS)
"""The step into each version, the first into version 1. Before ``_ALL_MOVED`` come the rows
themselves, in many small transactions (``migrations.py``)."""
MOVING = 3
"""The version at which rows are being moved."""

_COLUMNS = {
    "piece": {"id", "key", "title", "path", "used_at_s", "state"},
    "repetition": {"id", "piece_id", "at_s", "start_quarters", "end_quarters", "hands", "clean"},
}
"""What the record has had in every version; no other program's tables are like these."""

assert len(MIGRATIONS) == VERSION


def version_of(connection: sqlite3.Connection) -> int:
    """The version of a record's tables; 0 for one that was just made."""
    version: int = connection.execute("PRAGMA user_version").fetchone()[0]
    return version


def tables_of(connection: sqlite3.Connection) -> set[str]:
    """The names of its tables."""
    found = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
    return {str(name) for (name,) in found}


def is_a_record(connection: sqlite3.Connection) -> bool:
    """Whether these are the record's tables, of whatever version."""
    return all(columns <= _columns_of(connection, table) for table, columns in _COLUMNS.items())


def is_whole(connection: sqlite3.Connection) -> bool:
    """Whether the tables are those of the version that the file says."""
    packed = {"moves", "take", "words", "checksum"} <= _columns_of(connection, "repetition")
    old = "old_repetition" in tables_of(connection)
    version = version_of(connection)
    if version < MOVING:
        return not packed and not old and is_a_record(connection) is (version > 0)
    return packed and is_a_record(connection) and old is (version == MOVING)


def is_as_written(connection: sqlite3.Connection) -> bool:
    """Whether the tables of the newest version are told of in the very words that made them."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as fresh:
        migrate(fresh, VERSION)
        words = _words_of(fresh)
    return version_of(connection) != VERSION or _words_of(connection) == words


def _words_of(connection: sqlite3.Connection) -> set[tuple[str, str]]:
    return set(connection.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL"))


def _columns_of(connection: sqlite3.Connection, table: str) -> set[str]:
    return {str(row[1]) for row in connection.execute(f"PRAGMA table_info({table})")}


def migrate(connection: sqlite3.Connection, up_to: int) -> None:
    """Bring the tables to a version, in one transaction."""
    if version_of(connection) < up_to:
        with transaction(connection):
            take_steps(connection, up_to)


def take_steps(connection: sqlite3.Connection, up_to: int) -> None:
    """The same within a transaction; what another program has done meanwhile is not done again."""
    for version in range(version_of(connection), up_to):
        for statement in _statements(MIGRATIONS[version]):
            connection.execute(statement)
        connection.execute(f"PRAGMA user_version = {version + 1}")


def _statements(script: str) -> Iterator[str]:
    """One after the other: sqlite3's own way with scripts would end the transaction."""
    statement = ""
    for part in f"{script};".split(";"):
        statement += f"{part};"
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""


@contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """All of it is kept, or nothing; no other program writes meanwhile."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        with suppress(sqlite3.Error):
            if connection.in_transaction:
                connection.execute("ROLLBACK")
        raise
