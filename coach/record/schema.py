"""The record's tables, and the steps from each version of them to the next.

A repetition is one row of some 400 bytes: what is looked for stands in columns of its own, the
rest is packed (``packing.py``): ``take`` are the keys and pedals with what each was judged to be,
``moves`` what was observed in each transition of each hand, ``words`` what was asked for and what
was said of it. ``checksum`` is over all of that, so that a row that is not as it was written is
known. Positions in the score are exact, as text ("7/2" quarters from the piece's start).
``at_s`` is unix time in seconds; a take's own times are on the clock that it was played by.

Of each piece ``weak_spots`` keeps what was found out of its repetitions (``store.py``), ``bars`` a
digest of each bar, by which a corrected score is known (``pieces.py``), and ``plan`` until when it
is to be learnt.

``set_aside`` holds, as JSON, each row that could not be read any longer, as it was found.

An older record is brought up to date: copied first, then moved in steps that a crash can't tear.
Each step is a transaction of its own, and says in the file how far it went: a program that is
ended in the middle goes on there the next time, and so does another that opens the file meanwhile.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import sqlite3
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager, suppress
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from typing import TypeVar

from coach.coaching.model import Observation
from coach.judging.model import Label, Outcome
from coach.playing.notes import PedalMove, PlayedNote, Take
from coach.private_files import make_private_file
from coach.record import rows
from coach.record.folder import APPLICATION_ID, VERSION, RecordError
from coach.record.packing import JudgedKey
from coach.record.rows import add_row, keep_entry
from coach.score.model import Hand, Hands
from coach.score.window import Transition

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
# by that a damaged file's rows are told apart (``recovery.py``).
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
themselves, in many small transactions (below)."""
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


# An older record is brought up to date, in steps.

_T = TypeVar("_T")

STEP = 500
"""Repetitions moved in one transaction: some tens of milliseconds. Own choice, so that what is
said of it moves on, and little is done twice after a crash."""
_PARTS = ("note", "pedal", "observation")
_BACKUP_PAGES = 4096
"""Pages copied between two words of it: 16 MiB."""
_WORTH_SHRINKING = 0.25
"""The share of free pages from which on the file is written anew."""
_PLACE = re.compile(r"-?\d{1,9}(/[1-9]\d{0,8})?")
"""A position, as it is kept."""


def bring_up_to_date(
    db: sqlite3.Connection, say: Callable[[str], None], backup: Path | None
) -> bool:
    """The newest tables with all that is in the file; whether it was copied to ``backup`` first."""
    version = version_of(db)
    if version == VERSION:
        return False
    if version == 0:
        migrate(db, VERSION)
        return False
    copied = _begin(db, say, backup)
    _move_all(db, say)
    migrate(db, VERSION)
    _shrink(db, say)
    return copied


def _begin(db: sqlite3.Connection, say: Callable[[str], None], backup: Path | None) -> bool:
    """Copy the file and make room for the new rows, while no other program may write; whether
    there is a copy now."""
    with transaction(db):
        version = version_of(db)
        if version in (MOVING, VERSION):  # another start, or another program, has begun
            return False
        if backup:
            with closing(sqlite3.connect(_file_of(db))) as reader:
                _copy(reader, backup, say)
        take_steps(db, MOVING if version < MOVING else VERSION)
    return backup is not None


def _file_of(db: sqlite3.Connection) -> str:
    return str(db.execute("PRAGMA database_list").fetchone()[2])


def _copy(db: sqlite3.Connection, backup: Path, say: Callable[[str], None]) -> None:
    """The whole file as it is, by SQLite's own backup; under its name once it is whole."""
    pages = db.execute("PRAGMA page_count").fetchone()[0]
    size = pages * db.execute("PRAGMA page_size").fetchone()[0]
    if shutil.disk_usage(backup.parent).free < 2 * size:
        raise RecordError(
            f"The practice record is to be brought up to date, and that takes {2 * size >> 20} MB "
            f"on the disk of {backup.parent}; free some space."
        )
    part = backup.with_name(f"{backup.name}.part")
    for left in backup.parent.glob("record-before-*.part*"):  # of an earlier start that was ended
        left.unlink(missing_ok=True)
    make_private_file(part)
    with closing(sqlite3.connect(part)) as copy:
        db.backup(
            copy,
            pages=_BACKUP_PAGES,
            progress=lambda _, left, of: say(
                f"Copying the practice record before it is brought up to date: "
                f"{100 * (of - left) // max(of, 1)} %"
            ),
        )
        copy.execute("PRAGMA journal_mode = DELETE")  # one file, with nothing beside it
    os.replace(part, backup)


def _move_all(db: sqlite3.Connection, say: Callable[[str], None]) -> None:
    last = "SELECT coalesce(max(id), 0) FROM old_repetition"
    of = db.execute(last).fetchone()[0] if version_of(db) == MOVING else 0
    while version_of(db) == MOVING:  # else another program has moved the rest
        up_to = _move_some(db)
        if up_to is None:
            return
        say(f"Bringing the practice record up to date: {100 * up_to // max(of, 1)} %")


def _move_some(db: sqlite3.Connection) -> int | None:
    """Move the next repetitions; the last one's id, None where there was none."""
    with transaction(db):
        return _move_batch(db) if version_of(db) == MOVING else None


def _move_batch(db: sqlite3.Connection) -> int | None:
    from_id = db.execute("SELECT up_to FROM moved").fetchone()[0]
    if from_id == 0:
        _check_states(db)
    query = "SELECT * FROM old_repetition WHERE id > ? ORDER BY id LIMIT ?"
    every = _rows(db, query, from_id, STEP)
    if not every:
        return None
    last = every[-1]["id"]
    parts: dict[str, dict[int, list[rows.RowValues]]] = {}
    for table in _PARTS:
        of = f"SELECT * FROM old_{table} WHERE repetition_id > ? AND repetition_id <= ?"
        of_each = parts.setdefault(table, {})
        for row in _rows(db, f"{of} ORDER BY repetition_id, n", from_id, last):
            of_each.setdefault(row["repetition_id"], []).append(row)
    for found in every:
        number = found["id"]
        old = _read_old_repetition(found, {table: parts[table].get(number, []) for table in _PARTS})
        if old.row is not None:
            add_row(db, old.piece, {"id": number, **old.row})
        for table, row in old.bad:
            keep_entry(db, table, row, time.time())
    db.execute("UPDATE moved SET up_to = ?", (last,))
    return int(last)


def _check_states(db: sqlite3.Connection) -> None:
    """Sign where the pianist stands in each piece, where it can be read."""
    for number, key, state in db.execute("SELECT id, key, state FROM piece").fetchall():
        try:
            told = rows.piece_checksum(str(key), state if isinstance(state, str) else None)
            rows.state_in(str(key), state, told)
        except ValueError:
            continue  # it stays unsigned, and is set aside when it is asked for
        db.execute("UPDATE piece SET checksum = ? WHERE id = ?", (told, number))


def _shrink(db: sqlite3.Connection, say: Callable[[str], None]) -> None:
    """Give back what the old tables took, where nobody else is in the file."""
    free = db.execute("PRAGMA freelist_count").fetchone()[0]
    if free > _WORTH_SHRINKING * db.execute("PRAGMA page_count").fetchone()[0]:
        say("Bringing the practice record up to date: making its file small")
        with suppress(sqlite3.Error):  # then the space is used for what is yet to be played
            db.execute("VACUUM")
    with suppress(sqlite3.Error):  # so that the file's head says the version, too
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")


# -- a repetition as it was kept before -----------------------------------------------------------


class OldRepetition:
    """A repetition of version 1 or 2: what of it can be read, and what can't."""

    def __init__(self, found: rows.RowValues) -> None:
        self.found = found
        """Its own row, as it was found."""
        self.row: rows.RowValues | None = None
        """As it is kept now; None where its own row can't be read."""
        self.bad: list[tuple[str, rows.RowValues]] = []
        """Rows that can't be read, each with its table."""

    @property
    def piece(self) -> int:
        """Its piece's id."""
        return int(self.found["piece_id"])


def old_repetition(db: sqlite3.Connection, number: int, prefix: str = "") -> OldRepetition:
    """Read it; ``prefix`` is before its tables' names. Raises sqlite3.Error, LookupError."""
    (found,) = _rows(db, f"SELECT * FROM {prefix}repetition WHERE id = ?", number)
    return _read_old_repetition(
        found, {table: _rows_left(db, f"{prefix}{table}", number) for table in _PARTS}
    )


def _read_old_repetition(
    found: rows.RowValues, parts: Mapping[str, list[rows.RowValues]]
) -> OldRepetition:
    old = OldRepetition(found)
    try:
        words = _words(found)
        assert isinstance(found["piece_id"], int)
    except (ValueError, TypeError, KeyError, AssertionError):
        old.bad.append(("repetition", {**found, **parts}))
        return old
    notes = list(_good("note", parts["note"], _note, old))
    pedals = list(_good("pedal", parts["pedal"], _pedal, old))
    observed = list(
        _good("observation", parts["observation"], lambda row: _observation(row, found), old)
    )
    take = Take(tuple(note for note, _ in notes), tuple(pedals))
    columns = ("at_s", "start_quarters", "end_quarters", "hands", "clean", "qpm")
    kept = {column: found[column] for column in columns}
    old.row = rows.pack_row(kept, observed, take, [struck for _, struck in notes], words)
    return old


def _words(found: rows.RowValues) -> rows.RowValues:
    """What was asked and said. Raises ValueError or TypeError where the row can't be read."""
    if not rows.is_time(found["at_s"]) or found["clean"] not in (0, 1):
        raise ValueError("no time, or no verdict")
    _quarters(found["start_quarters"]), _quarters(found["end_quarters"])
    Hands(found["hands"])
    _number(found["qpm"])
    plain = {
        name: found[name]
        for name in (
            "landing",
            "asked_qpm",
            "stage",
            "clean_required",
            "kind",
            "click",
            "reason",
            "complete",
            "unsure",
            "offset_ms",
            "sentence",
        )
    }
    for flag in ("landing", "click", "complete", "unsure"):
        plain[flag] = bool(plain[flag])
    for name in ("missed", "faults", "decision"):
        try:
            plain[name] = json.loads(found[name])
        except RecursionError as error:
            raise ValueError("too deep") from error
    if not all(isinstance(plain[name], str) for name in ("stage", "kind", "reason", "sentence")):
        raise ValueError("no words")
    for name in ("asked_qpm", "offset_ms", "clean_required"):
        _number(plain[name])
    return plain


def _note(row: rows.RowValues) -> tuple[PlayedNote, JudgedKey]:
    note = PlayedNote(
        _whole(row["pitch"]),
        _whole(row["velocity"]),
        _some(row["onset_s"]),
        _number(row["length_s"]),
    )
    label, hand = row["label"], row["hand"]
    return note, JudgedKey(
        None if label is None else Label(label),
        None if row["score_note"] is None else _whole(row["score_note"]),
        None if hand is None else Hand(hand),
        _number(row["error_ms"]),
    )


def _pedal(row: rows.RowValues) -> PedalMove:
    return PedalMove(_whole(row["controller"]), _whole(row["value"]), _some(row["at_s"]))


def _observation(row: rows.RowValues, found: rows.RowValues) -> Observation:
    return Observation(
        found["at_s"],
        _transition(row["hand"], row["from_quarters"], row["to_quarters"]),
        _quarters(row["onset_quarters"]),
        Hands(found["hands"]),
        Outcome(row["outcome"]),
        found["qpm"],
        _number(row["error_ms"]),
        _some(row.get("hears_late", 1.0)),
    )


@lru_cache(maxsize=1 << 14)
def _transition(hand: object, start: object, end: object) -> Transition:
    return Transition(Hands(str(hand)), _quarters(start), _quarters(end))


def _good(
    table: str,
    found: Sequence[rows.RowValues],
    read: Callable[[rows.RowValues], _T],
    old: OldRepetition,
) -> Iterator[_T]:
    for row in found:
        try:
            yield read(row)
        except (ValueError, TypeError):
            old.bad.append((table, row))


@lru_cache(maxsize=1 << 14)
def _quarters(text: object) -> Fraction:
    if not isinstance(text, str) or not _PLACE.fullmatch(text):
        raise ValueError("no position")
    return Fraction(text)


_LARGEST = 1e12
"""No time, tempo or error is beyond it."""


def _number(found: object) -> float | None:
    return None if found is None else _some(found)


def _some(found: object) -> float:
    if type(found) not in (int, float) or not abs(found) < _LARGEST:  # type: ignore[arg-type]
        raise ValueError("no number")
    return float(found)  # type: ignore[arg-type]


def _whole(found: object) -> int:
    if type(found) is not int or abs(found) > _LARGEST:
        raise ValueError("no whole number")
    return found


def _rows(db: sqlite3.Connection, query: str, *values: object) -> list[rows.RowValues]:
    found = db.execute(query, values)
    columns = [column[0] for column in found.description]
    return [dict(zip(columns, row, strict=True)) for row in found]


def _rows_left(db: sqlite3.Connection, table: str, number: int) -> list[rows.RowValues]:
    """The rows, or none where damage of the file lies there."""
    try:
        return _rows(db, f"SELECT * FROM {table} WHERE repetition_id = ? ORDER BY n", number)
    except sqlite3.DatabaseError:
        return []
