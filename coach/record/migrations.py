"""An older record brought up to date: copied first, then moved in steps that a crash can't tear.

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
from contextlib import closing, suppress
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from typing import TypeVar

from coach.coaching.model import Observation
from coach.judging.model import Label, Outcome
from coach.playing.notes import PedalMove, PlayedNote, Take
from coach.private_files import make_private_file
from coach.record import rows
from coach.record.folder import VERSION, RecordError
from coach.record.packing import JudgedKey
from coach.record.rows import add_row, keep_entry
from coach.record.schema import MOVING, migrate, take_steps, transaction, version_of
from coach.score.model import Hand, Hands
from coach.score.window import Transition

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
