"""The record's rows: facts to rows and back, put into its tables, set aside where damaged."""

from __future__ import annotations

import json
import math
import re
import sqlite3
import zlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from coach.coaching.drill import RepetitionEnded
from coach.coaching.model import Observation
from coach.coaching.planning import PlayedOnce
from coach.coaching.serialize import assignment_to_plain, trouble_to_plain
from coach.judging.model import Fault, Judgement, Label
from coach.playing.notes import Take
from coach.record.packing import (
    JudgedKey,
    checksum,
    pack_moves,
    pack_take,
    pack_words,
    unpack_moves,
    unpack_take,
    unpack_tries,
    unpack_words,
)
from coach.record.pieces import PieceKey, RepetitionSummary
from coach.score.forms import WrittenForm
from coach.score.model import Hands

# Facts to the record's rows, and back; a row that is not as it was written is known.


RowValues = dict[str, Any]

LATEST_S = 32_503_680_000.0
"""The year 3000, unix time: calendars of some systems end there, and no clock was ever so wrong."""

COLUMNS = (
    "at_s",
    "start_quarters",
    "end_quarters",
    "hands",
    "clean",
    "qpm",
    "moves",
    "take",
    "words",
)
"""What a repetition's checksum is over, in this order."""
CHECKED = ", ".join((*COLUMNS, "checksum"))
"""The columns of a query whose rows :func:`is_sound` looks at."""
_AT_S, _START, _END, _HANDS, _CLEAN, _QPM, _MOVES, _TAKE, _WORDS, _CHECKSUM = range(10)


# -- a repetition ---------------------------------------------------------------------------------


def repetition_row(ended: RepetitionEnded, at_s: float) -> RowValues:
    """The repetition: what was asked for, what it was worth, what followed."""
    asked, judgement = ended.assignment, ended.judgement
    window = judgement.excerpt.window
    words = {
        "landing": window.landing,
        "asked_qpm": asked.qpm,
        "stage": judgement.stage.value,
        "clean_required": asked.clean_required,
        "kind": asked.kind.value,
        "click": asked.click,
        "reason": asked.reason,
        "complete": judgement.complete,
        "unsure": judgement.unsure,
        "offset_ms": judgement.offset_ms,
        "sentence": judgement.sentence,
        "missed": [label.note for label in judgement.score if label.label is Label.MISSED],
        "faults": [_fault(fault) for fault in judgement.faults],
        "decision": _decision(ended),
    }
    if window.form is not WrittenForm.AS_WRITTEN:
        words["form"] = window.form.value
    return pack_row(
        {
            "at_s": at_s,
            "start_quarters": str(window.start_quarters),
            "end_quarters": str(window.end_quarters),
            "hands": window.hands.value,
            "clean": judgement.clean,
            "qpm": judgement.qpm,
        },
        ended.observed,
        ended.take,
        _judge_keys(judgement, len(ended.take.notes)),
        words,
    )


def pack_row(
    row: RowValues,
    observed: Sequence[Observation],
    take: Take,
    struck: Sequence[JudgedKey],
    words: RowValues,
) -> RowValues:
    """The row with what is packed, and its checksum."""
    whole = {
        **row,
        "clean": int(row["clean"]),
        "moves": pack_moves(observed),
        "take": pack_take(take, struck),
        "words": pack_words(words),
    }
    return {**whole, "checksum": checksum(whole[column] for column in COLUMNS)}


def is_sound(row: Sequence[Any]) -> bool:
    """Whether a row of :data:`CHECKED` is as it was written."""
    told: object = row[_CHECKSUM]
    return checksum(row[:_CHECKSUM]) == told


def read_observations(row: Sequence[Any]) -> tuple[Observation, ...]:
    """What was observed in a row of :data:`CHECKED`. Raises ValueError."""
    return unpack_moves(row[_MOVES], row[_AT_S], Hands(row[_HANDS]), row[_QPM])


def read_played(row: Sequence[Any]) -> PlayedOnce:
    """A row of :data:`CHECKED`, as far as progress asks. Raises ValueError."""
    window = row[_START], row[_END], row[_HANDS]
    return PlayedOnce(row[_AT_S], window, bool(row[_CLEAN]), row[_QPM], unpack_tries(row[_MOVES]))


def read_summary(number: int, row: Sequence[Any]) -> RepetitionSummary:
    """What a row of :data:`CHECKED` tells. Raises ValueError."""
    words = unpack_words(row[_WORDS])
    return RepetitionSummary(
        number,
        row[_AT_S],
        bool(row[_CLEAN]),
        row[_QPM],
        str(words.get("sentence", "")),
        row[_START],
        row[_END],
        row[_HANDS],
    )


def take_in(row: Sequence[Any]) -> Take:
    """What was played in a row of :data:`CHECKED`. Raises ValueError."""
    return unpack_take(row[_TAKE])[0]


def _judge_keys(judgement: Judgement, keys: int) -> list[JudgedKey]:
    errors = {label.played: label.error_ms for label in judgement.score}
    labels = {label.played: label for label in judgement.played}
    out = []
    for n in range(keys):
        label = labels.get(n)
        out.append(
            JudgedKey(label.label, label.note, label.hand, errors.get(n))
            if label
            else JudgedKey(error_ms=errors.get(n))
        )
    return out


def _fault(fault: Fault) -> RowValues:
    return {
        "hands": fault.hands.value,
        "from_quarters": str(fault.transition.from_quarters),
        "to_quarters": str(fault.transition.to_quarters),
        "onset_quarters": str(fault.onset_quarters),
        "family": fault.family.value,
        "cause": fault.cause.value,
        "words": fault.words,
        "weight": fault.weight,
        "size_ms": fault.size_ms,
        "note": fault.note,
        "forgiven": fault.forgiven,
    }


def _decision(ended: RepetitionEnded) -> RowValues:
    decision = ended.decision
    return {
        "changed": decision.changed,
        "clean_run": decision.clean_run,
        "finished": decision.finished,
        "trouble": decision.trouble and trouble_to_plain(decision.trouble),
        "assignment": assignment_to_plain(decision.assignment) if decision.changed else None,
        "note": decision.note,
    }


# -- a piece --------------------------------------------------------------------------------------

UNTITLED = "Untitled"
PIECE_COLUMNS = ("key", "title", "path", "used_at_s", "state", "checksum")
"""What of a piece goes from one record to another; its counts are made anew there."""


def piece_checksum(key: str, state: str | None) -> int:
    """Of a piece's key and of where the pianist stands in it: by it damage to either is known."""
    return zlib.crc32(f"{key} {state or ''}".encode("utf-8", "surrogatepass"))


def is_time(found: object) -> bool:
    """Whether it is a time that a calendar knows."""
    return type(found) in (int, float) and 0.0 <= float(found) <= LATEST_S  # type: ignore[arg-type]


def piece_in(key: object, title: object, path: object, used_at_s: object) -> tuple[PieceKey, float]:
    """A piece's entry, and when it was last used; what can't be read of it is made good."""
    piece = PieceKey(
        key if isinstance(key, str) else "",
        title if isinstance(title, str) else UNTITLED,
        path if isinstance(path, str) and _is_path(path) else "",
    )
    return piece, float(used_at_s) if is_time(used_at_s) else 0.0  # type: ignore[arg-type]


def is_piece(key: object, title: object, path: object, used_at_s: object) -> bool:
    """Whether a piece's entry can be read as it stands."""
    texts = all(isinstance(text, str) for text in (key, title, path))
    return texts and _is_path(str(path)) and is_time(used_at_s)


_LONGEST_PATH_BYTES, _LONGEST_NAME_BYTES = 1 << 15, 1 << 10
"""No system's paths and names are longer (Windows: 32,767 characters and 255)."""


def _is_path(path: str) -> bool:
    raw = path.encode("utf-8", "surrogatepass")
    names = re.split(rb"[/\\\\]", raw)
    longest = max(map(len, names), default=0)
    return len(raw) < _LONGEST_PATH_BYTES and longest < _LONGEST_NAME_BYTES and b"\0" not in raw


def state_in(key: str, state: object, told: object) -> RowValues | None:
    """Where the pianist stood. Raises ValueError where that can't be read."""
    if state is None:
        return None
    if not isinstance(state, str) or piece_checksum(key, state) != told:
        raise ValueError("not as it was written")
    try:
        plain = json.loads(state)
    except RecursionError as error:
        raise ValueError("too deep") from error
    if not isinstance(plain, dict):
        raise ValueError("no state")
    return plain


def as_json(row: RowValues) -> str:
    """A row as it was found, so that nothing of it is lost."""
    return json.dumps({column: _plain(value) for column, value in row.items()})


def _plain(value: object) -> object:
    if isinstance(value, bytes):
        return {"hex": value.hex()}
    if isinstance(value, float) and not math.isfinite(value):
        return repr(value)
    if isinstance(value, list):
        return [{k: _plain(v) for k, v in part.items()} for part in value]
    return value


# Putting rows into the record's tables.


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


def touch_piece(
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
    told = piece_checksum(piece.key, plain)
    db.execute(query, (piece.key, piece.title, piece.path, at_s, plain, told))
    found = piece_id(db, piece)
    if found is None:  # just made: an index is damaged, which no quick look finds
        damage = sqlite3.DatabaseError("a row that was just made is not found")
        damage.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
        raise damage
    if piece.bars:
        db.execute("INSERT OR IGNORE INTO bars VALUES (?, ?)", (found, piece.bars))
    return found


def insert_repetition(db: sqlite3.Connection, unsaved: Unsaved) -> None:
    """A repetition with all that belongs to it."""
    piece = touch_piece(db, unsaved.piece, unsaved.at_s, unsaved.state)
    add_row(db, piece, repetition_row(unsaved.ended, unsaved.at_s))


def add_row(db: sqlite3.Connection, piece: int, row: RowValues) -> None:
    """A repetition's row, counted with its piece."""
    columns = ", ".join(("piece_id", *row))
    places = ", ".join("?" * (len(row) + 1))
    query = f"INSERT INTO repetition ({columns}) VALUES ({places})"
    db.execute(query, (piece, *row.values()))
    count = "UPDATE piece SET repetitions = repetitions + 1, clean = clean + ? WHERE id = ?"
    db.execute(count, (row["clean"], piece))


# Rows that can't be read any longer: set aside within the record, so that all else goes on.


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
        elif (row := _fetch_row(db, "piece", one.id)) is not None:
            keep_entry(db, "piece", row, at_s)
            forget = "UPDATE piece SET state = NULL, checksum = ? WHERE id = ?"
            db.execute(forget, (piece_checksum(str(row["key"]), None), one.id))


def keep_entry(db: sqlite3.Connection, table: str, row: RowValues, at_s: float) -> None:
    """Keep a row as it was found."""
    query = "INSERT INTO set_aside (at_s, table_name, entry) VALUES (?, ?, ?)"
    db.execute(query, (at_s, table, as_json(row)))


def count_piece(db: sqlite3.Connection, piece: object) -> None:
    """Count a piece's repetitions anew."""
    query = """
        UPDATE piece SET (repetitions, clean) = (
            SELECT count(*), coalesce(sum(clean = 1), 0) FROM repetition WHERE piece_id = ?
        ) WHERE id = ?
    """
    db.execute(query, (piece, piece))


def _set_repetition_aside(db: sqlite3.Connection, number: int, at_s: float) -> None:
    if (row := _fetch_row(db, "repetition", number)) is None:  # another program has done it
        return
    keep_entry(db, "repetition", row, at_s)
    db.execute("DELETE FROM repetition WHERE id = ?", (number,))
    count_piece(db, row["piece_id"])


def _mend_piece(db: sqlite3.Connection, number: int, at_s: float) -> None:
    if (row := _fetch_row(db, "piece", number)) is None:
        return
    keep_entry(db, "piece", row, at_s)
    piece, used_at_s = piece_in(*(row[c] for c in ("key", "title", "path", "used_at_s")))
    newest = "SELECT max(at_s) FROM repetition WHERE piece_id = ?"
    played_s = db.execute(newest, (number,)).fetchone()[0]
    if not used_at_s and is_time(played_s):
        used_at_s = played_s
    mend = "UPDATE piece SET key = ?, title = ?, path = ?, used_at_s = ? WHERE id = ?"
    key = piece.key or f"unreadable {number}"
    db.execute(mend, (key, piece.title, piece.path, used_at_s, number))


def _fetch_row(db: sqlite3.Connection, table: str, number: int) -> RowValues | None:
    found = db.execute(f"SELECT * FROM {table} WHERE id = ?", (number,))
    columns = [column[0] for column in found.description]
    row = found.fetchone()
    return None if row is None else dict(zip(columns, row, strict=True))


def describe_set_aside(repetitions: int, pieces: int) -> str:
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
