"""The record's file in its place: opened, begun anew where it is damaged, others merged into it.

Where SQLite itself can't find its way in a damaged file any more, the file is gone through page by
page. One bad byte high in a table's tree hides thousands of good rows from SQLite. They lie in
pages of their own, whole, and every repetition carries its checksum: what matches it is what was
written. The file format is https://sqlite.org/fileformat.html.
"""

from __future__ import annotations

import sqlite3
import struct
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from os.path import exists  # False, and no error, where a folder may not be looked into
from pathlib import Path
from typing import Any, BinaryIO, TypeVar

from coach.private_files import make_private_folder
from coach.record import rows
from coach.record.database import (
    OPEN_WAIT_S,
    SAVE_WAIT_S,
    Damaged,
    Database,
    Say,
    format_date,
    keep_aside,
    text_or_bytes,
)
from coach.record.folder import VERSION, RecordError, close_to_others
from coach.record.rows import add_row
from coach.record.schema import old_repetition, tables_of

# Taking one record's rows into another: nothing twice, nothing lost.


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


def join(into: sqlite3.Connection, source: sqlite3.Connection) -> None:
    """Take in every piece and repetition that is not there yet, and what was set aside.

    A repetition is known again by its piece and its time.
    """
    pieces = f"SELECT id, {', '.join(rows.PIECE_COLUMNS)} FROM piece ORDER BY id"
    of = f"SELECT {rows.CHECKED} FROM repetition WHERE piece_id = ? ORDER BY id"
    for number, *values in source.execute(pieces):
        piece = join_piece(into, values)
        _join_days(into, piece, source, number)
        for found in source.execute(of, (number,)):
            row = dict(zip((*rows.COLUMNS, "checksum"), found, strict=True))
            if rows.is_sound(found):
                join_repetition(into, piece, row)
            else:
                join_entry(into, values[3], "repetition", rows.as_json(row))
    for entry in source.execute("SELECT at_s, table_name, entry FROM set_aside").fetchall():
        join_entry(into, *entry)


def join_entry(into: sqlite3.Connection, at_s: float, table: str, entry: str) -> None:
    """Set a row aside where the same one isn't aside already."""
    put = """
        INSERT INTO set_aside (at_s, table_name, entry) SELECT ?1, ?2, ?3
        WHERE NOT EXISTS (SELECT 1 FROM set_aside WHERE table_name = ?2 AND entry = ?3)
    """
    into.execute(put, (at_s, table, entry))


def _join_days(
    into: sqlite3.Connection, piece: int, source: sqlite3.Connection, number: int
) -> None:
    """What is known of a piece over the days, but for what follows from its repetitions."""
    for table, take in (("bars", join_bars), ("plan", join_plan)):
        for _, *row in source.execute(f"SELECT * FROM {table} WHERE piece_id = ?", (number,)):
            take(into, piece, *row)


def join_bars(into: sqlite3.Connection, piece: int, digests: str) -> None:
    """What the piece's bars are known by; the same in every record."""
    into.execute("INSERT OR IGNORE INTO bars VALUES (?, ?)", (piece, digests))


def join_plan(into: sqlite3.Connection, piece: int, by_day: str, minutes: float) -> None:
    """Until when the piece is to be learnt: of two plans the later day and the longer hours, so
    that it is all one which record joins."""
    query = """
        INSERT INTO plan VALUES (?, ?, ?) ON CONFLICT (piece_id) DO UPDATE SET
            by_day = max(by_day, excluded.by_day), minutes = max(minutes, excluded.minutes)
    """
    into.execute(query, (piece, by_day, minutes))


def join_piece(into: sqlite3.Connection, values: Sequence[Any]) -> int:
    """The piece's row there; whichever record used it last knows where the pianist stands.

    Of two that used it at the same moment the later in the alphabet does, so that records may join
    in any order.
    """
    query = """
        INSERT INTO piece (key, title, path, used_at_s, state, checksum)
        VALUES (?, ?, ?, ?, ?, ?)
        ON CONFLICT (key) DO UPDATE SET
            title = excluded.title, path = excluded.path, used_at_s = excluded.used_at_s,
            state = coalesce(excluded.state, state),
            checksum = iif(excluded.state IS NULL, checksum, excluded.checksum)
        WHERE (excluded.used_at_s, coalesce(excluded.state, ''), excluded.title, excluded.path)
            > (used_at_s, coalesce(state, ''), title, path)
    """
    piece, used_at_s = rows.piece_in(*values[:4])
    state, told = values[4:6]
    try:
        rows.state_in(piece.key, state, told)
    except ValueError:
        state = None
    told = rows.piece_checksum(piece.key, state)
    into.execute(query, [piece.key, piece.title, piece.path, used_at_s, state, told])
    found = into.execute("SELECT id FROM piece WHERE key = ?", (piece.key,)).fetchone()
    return int(found[0])


def join_repetition(into: sqlite3.Connection, piece: int, row: rows.RowValues) -> bool:
    """Take it in where it is not there yet; whether it was taken."""
    known = "SELECT 1 FROM repetition WHERE piece_id = ? AND at_s = ?"
    if into.execute(known, (piece, row["at_s"])).fetchone():
        return False
    add_row(into, piece, row)
    return True


# -- out of a damaged file ------------------------------------------------------------------------

_TROUBLE = (sqlite3.Error, MemoryError, OverflowError, ValueError, LookupError, TypeError)
"""What reading a damaged file may raise; the next row may be good."""


def rescue(into: Database, damaged: Path) -> int:
    """Take over every repetition of a damaged file that can still be read; how many those are.

    The damaged file is only read.
    """
    with into.writing(OPEN_WAIT_S) as db:
        rescuer = _Rescuer(db)
        with suppress(*_TROUBLE):
            _rescue_by_query(rescuer, damaged)
        _rescue_by_page(rescuer, damaged)  # always: a tree hurt near its root hides rows in silence
        return rescuer.count


class _Rescuer:
    """Takes over rows whose pieces may be lost."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self.count = 0
        self.db = db
        self._pieces: dict[int, int] = {}

    def piece(self, number: int, values: Sequence[Any], indexed: object = None) -> None:
        """A piece's row, from its key on; its key as the index has it may be the sound one."""
        filled = [*values, None, None][: len(rows.PIECE_COLUMNS)]
        filled += [None] * (len(rows.PIECE_COLUMNS) - len(filled))
        if not isinstance(filled[0], str):
            filled[0] = indexed
        key, state = filled[0], filled[4]
        if not isinstance(key, str) or number in self._pieces:
            return
        if isinstance(state, str) and filled[5] is None:  # of a version that signed nothing
            filled[5] = rows.piece_checksum(key, state)
        if not isinstance(state, str):
            state = None
        if isinstance(indexed, str) and filled[5] == rows.piece_checksum(indexed, state):
            filled[0] = indexed
        self._pieces[number] = join_piece(self.db, filled)

    def repetition(self, piece: int, row: rows.RowValues) -> None:
        """A repetition's row, of the piece that had this number."""
        if piece not in self._pieces:
            self.piece(piece, (f"unreadable {piece}", rows.UNTITLED, "", row["at_s"]))
        self.count += join_repetition(self.db, self._pieces[piece], row)


def _rescue_by_query(rescuer: _Rescuer, damaged: Path) -> None:
    """What the tables still lead to; may raise any trouble."""
    source = sqlite3.connect(f"{damaged.absolute().as_uri()}?mode=ro", uri=True)
    source.text_factory = text_or_bytes
    with closing(source):
        tables = tables_of(source)
        known = _columns(source, "piece")
        last = source.execute("SELECT max(id) FROM piece").fetchone()[0] or 0
        columns = ", ".join(column for column in rows.PIECE_COLUMNS if column in known)
        indexed: dict[int, object] = {}
        with suppress(*_TROUBLE):
            by_key = "SELECT id, key FROM piece INDEXED BY sqlite_autoindex_piece_1 ORDER BY key"
            indexed.update(source.execute(by_key))
        for number in range(1, last + 1):
            with suppress(*_TROUBLE):
                query = f"SELECT {columns} FROM piece WHERE id = ?"
                for values in source.execute(query, (number,)):
                    rescuer.piece(number, values, indexed.get(number))
        packed = "moves" in _columns(source, "repetition")
        for prefix, is_packed in (("old_", False), ("", packed)):
            if f"{prefix}repetition" in tables:
                with suppress(*_TROUBLE):
                    _rescue_table(rescuer, source, prefix, is_packed)


def _columns(source: sqlite3.Connection, table: str) -> set[str]:
    return {row[1] for row in source.execute(f"PRAGMA table_info({table})")}


def _rescue_table(rescuer: _Rescuer, source: sqlite3.Connection, prefix: str, packed: bool) -> None:
    last = source.execute(f"SELECT max(id) FROM {prefix}repetition").fetchone()[0] or 0
    read = _packed_rows if packed else _old
    for number in range(1, last + 1):
        with suppress(*_TROUBLE):
            for piece, row in read(source, prefix, number):
                rescuer.repetition(piece, row)


def _packed_rows(
    source: sqlite3.Connection, prefix: str, number: int
) -> Iterator[tuple[int, rows.RowValues]]:
    query = f"SELECT piece_id, {rows.CHECKED} FROM {prefix}repetition WHERE id = ?"
    for piece, *found in source.execute(query, (number,)):
        if not rows.is_sound(found):
            raise ValueError("not as it was written")
        yield int(piece), dict(zip((*rows.COLUMNS, "checksum"), found, strict=True))


def _old(
    source: sqlite3.Connection, prefix: str, number: int
) -> Iterator[tuple[int, rows.RowValues]]:
    if source.execute(f"SELECT 1 FROM {prefix}repetition WHERE id = ?", (number,)).fetchone():
        old = old_repetition(source, number, prefix)
        if old.row is not None:
            yield old.piece, old.row


def _rescue_by_page(rescuer: _Rescuer, damaged: Path) -> None:
    """What lies whole in the file's pages, the pieces first."""
    with suppress(OSError):
        for found in salvage(damaged):
            if isinstance(found, SalvagedPiece):
                rescuer.piece(found.id, found.values)
        for found in salvage(damaged):
            if not isinstance(found, SalvagedPiece):
                with suppress(*_TROUBLE):
                    rescuer.repetition(found.piece_id, found.row)


# The record's file in its place: opened, begun anew where it is damaged or was removed.


UNSAVED = "unsaved-"
"""What the name of a file begins with that is to join the record."""
_T = TypeVar("_T")


class RecordFile:
    """The file at a path, through whatever becomes of it while it is open.

    A damaged file is kept aside under a dated name and a new one is started; one that was removed
    is not brought back, but a new one is started too; ``notices`` says so. Where it can't be opened
    each call tries again and raises RecordError.
    """

    def __init__(self, path: Path, now: Callable[[], float], say: Say | None = None) -> None:
        """``say`` is told what takes long when the file is opened."""
        self.notices: list[str] = []
        self._path, self._now, self._say = path, now, say
        self._database: Database | None = None

    def open(self) -> None:
        """Open it now, and wait for another program that holds it."""
        self._database = self._open_database(OPEN_WAIT_S)

    def look(self) -> None:
        """See to it that it is open and in its place."""
        self._find_database()

    def read(self, work: Callable[[sqlite3.Connection], _T]) -> _T:
        """Queries."""
        try:
            with self._find_database().reading() as db:
                return work(db)
        except Damaged:
            with self._expect_sound_disk(), self._start_anew().reading() as db:
                return work(db)

    def write(
        self, work: Callable[[sqlite3.Connection], None], wait_s: float = SAVE_WAIT_S
    ) -> None:
        """One transaction."""
        try:
            with self._find_database().writing(wait_s) as db:
                work(db)
        except Damaged:
            with self._expect_sound_disk(), self._start_anew().writing(wait_s) as db:
                work(db)

    def close(self) -> None:
        """Close it; it would be opened again by the next call."""
        if self._database:
            self._database.close()
            with suppress(OSError):  # an older record bears our mark only now
                close_to_others(self._path.parent)
        self._database = None

    def stamp(self) -> str:
        """The time, for the name of a file."""
        return format_date(self._now())

    def _find_database(self) -> Database:
        """The file, opened where it was not; anew where it no longer lies in its place."""
        if self._database and self._database.is_in_place():
            return self._database
        was_open = self._database is not None
        self.close()
        with suppress(OSError):  # else the file can't be made, which is said in a sentence
            make_private_folder(self._path.parent)
        begun = not exists(self._path)
        self._database = self._open_database(0.0)
        if was_open and begun:
            self.notices.append(
                f"The practice record ({self._path}) was removed while Keyhole ran: a new one "
                "holds what was played since."
            )
        return self._database

    def _open_database(self, wait_s: float) -> Database:
        backup = self._path.with_name(
            f"{self._path.stem}-before-version-{VERSION}-{self.stamp()}{self._path.suffix}"
        )
        try:
            opened = Database(self._path, wait_s, say=self._say, backup=backup)
        except Damaged:
            with self._expect_sound_disk():
                opened = self._replace()
        if opened.was_backed_up:
            self.notices.append(
                f"The practice record was brought up to date. As it was before it is kept as "
                f"{backup}: delete that file whenever you like."
            )
        for beside in sorted(self._path.parent.glob(f"{UNSAVED}*.sqlite3")):
            with suppress(RecordError, Damaged):  # earlier sessions had to leave it there
                join_file(opened, beside)
        return opened

    @contextmanager
    def _expect_sound_disk(self) -> Iterator[None]:
        """What is begun anew holds; where it does not, the disk itself is what is damaged."""
        try:
            yield
        except Damaged as error:
            raise RecordError(
                f"The practice record ({self._path}) is damaged again and again: its disk may be "
                "failing; choose another folder with --data FOLDER.",
                "The record's disk may be failing.",
            ) from error

    def _start_anew(self) -> Database:
        self.close()
        self._database = self._replace()
        return self._database

    def _replace(self) -> Database:
        if self._say:
            self._say("The practice record is damaged: reading what can still be read of it")
        try:
            aside = keep_aside(self._path, self.stamp())
        except OSError as error:
            raise RecordError(
                f"The practice record ({self._path}) is damaged and can't be moved aside; move it "
                "yourself, or choose another folder with --data FOLDER."
            ) from error
        fresh = Database(self._path)
        self.notices.append(
            f"The practice record was damaged: it is kept as {aside}, and a new one "
            f"{_describe_rescue(rescue(fresh, aside))}."
        )
        return fresh


def _describe_rescue(count: int) -> str:
    if count == 0:
        return "is begun: none of its repetitions could be read any longer"
    some = "1 repetition" if count == 1 else f"{count} repetitions"
    return f"holds the {some} that could still be read"


# What a damaged file still holds, page by page.

_OTHER_PAGES = {0x02, 0x05, 0x0A}
"""The first byte of a page that holds no rows; any other may be that of one that does, damaged."""
_PAGE_BYTES = 4096
"""SQLite's own choice since 2016, and the record's."""
_FILE_HEADER_BYTES = 100
_LOG_HEADER_BYTES, _FRAME_HEADER_BYTES = 32, 24
_FIXED = {0: (0, ""), 1: (1, ">b"), 2: (2, ">h"), 4: (4, ">i"), 6: (8, ">q"), 7: (8, ">d")}
"""Bytes and form of a value by its serial type; 3 and 5 have three and six bytes, 8 and 9 none."""
_REPETITION_COLUMNS = 12
_PIECE_COLUMNS = range(6, 10)
"""A piece's row that was not touched since an older version is shorter."""


@dataclass(frozen=True, slots=True)
class SalvagedPiece:
    """A piece's row."""

    id: int
    values: tuple[Any, ...]
    """From its key on."""


@dataclass(frozen=True, slots=True)
class SalvagedRepetition:
    """A repetition's row."""

    id: int
    piece_id: int
    row: rows.RowValues


def salvage(path: Path) -> Iterator[SalvagedPiece | SalvagedRepetition]:
    """Every row of the two tables that lies whole in the file, or in its log.

    What was changed may come twice, in no certain order. Raises OSError.
    """
    with path.open("rb") as file:
        pages = _File(path, file)
        yield from _rows_in(pages, pages.main())
        yield from _rows_in(pages, pages.log())


class _File:
    """The pages of a file and of its log."""

    def __init__(self, path: Path, file: BinaryIO) -> None:
        self._path, self._file = path, file

    def main(self) -> Iterator[bytes]:
        """Each page of the file, in order."""
        self._file.seek(0)
        while page := self._file.read(_PAGE_BYTES):
            yield page

    def log(self) -> Iterator[bytes]:
        """Each page of the log, in order."""
        log = Path(f"{self._path}-wal")
        if not log.exists():
            return
        with log.open("rb") as file:
            file.seek(_LOG_HEADER_BYTES)
            while len(frame := file.read(_FRAME_HEADER_BYTES + _PAGE_BYTES)) > _FRAME_HEADER_BYTES:
                yield frame[_FRAME_HEADER_BYTES:]

    def page(self, number: int) -> bytes:
        """One page of the file; pages count from 1."""
        at = self._file.tell()
        self._file.seek((number - 1) * _PAGE_BYTES)
        page = self._file.read(_PAGE_BYTES)
        self._file.seek(at)
        return page


def _rows_in(pages: _File, them: Iterator[bytes]) -> Iterator[SalvagedPiece | SalvagedRepetition]:
    for number, page in enumerate(them):
        if len(page) < _PAGE_BYTES:
            continue
        starts = (0, _FILE_HEADER_BYTES) if number == 0 else (0,)
        for start in starts:
            for cell in _cells(page, start):
                try:
                    found = _read_row(pages, page, cell)
                except (IndexError, struct.error, ValueError):
                    continue
                if found is not None:
                    yield found


def _cells(page: bytes, start: int) -> Iterator[int]:
    """Where the page's rows begin."""
    if page[start] in _OTHER_PAGES:
        return
    (count,) = struct.unpack_from(">H", page, start + 3)
    for n in range(min(count, _PAGE_BYTES // 2)):
        at = start + 8 + 2 * n
        if at + 2 > _PAGE_BYTES:
            return
        yield struct.unpack_from(">H", page, at)[0]


def _read_row(pages: _File, page: bytes, at: int) -> SalvagedPiece | SalvagedRepetition | None:
    length, at = _number(page, at)
    row_id, at = _number(page, at)
    if length > 1 << 26 or row_id > 1 << 48:
        return None
    values = _values(_payload(pages, page, at, length))
    if len(values) == _REPETITION_COLUMNS and values[0] is None:
        if not isinstance(values[1], int) or not rows.is_sound(values[2:]):
            return None
        row = dict(zip((*rows.COLUMNS, "checksum"), values[2:], strict=True))
        return SalvagedRepetition(row_id, values[1], row)
    if len(values) in _PIECE_COLUMNS and values[0] is None and _may_be_piece(*values[1:5]):
        return SalvagedPiece(row_id, tuple(values[1:]))
    return None


def _may_be_piece(key: object, title: object, path: object, used_at_s: object) -> bool:
    """What of it can't be read is made good; it must have a key."""
    texts = all(isinstance(text, str | bytes) for text in (title, path))
    return isinstance(key, str) and key.isprintable() and texts and rows.is_time(used_at_s)


def _payload(pages: _File, page: bytes, at: int, length: int) -> bytes:
    """A row's bytes, gathered from where they overflow to."""
    most = _PAGE_BYTES - 35
    if length <= most:
        return page[at : at + length]
    least = (_PAGE_BYTES - 12) * 32 // 255 - 23
    here = least + (length - least) % (_PAGE_BYTES - 4)
    here = here if here <= most else least
    out = bytearray(page[at : at + here])
    (further,) = struct.unpack_from(">I", page, at + here)
    while further and len(out) < length:
        page = pages.page(further)
        (further,) = struct.unpack_from(">I", page)
        out += page[4 : 4 + length - len(out)]
    return bytes(out)


def _values(payload: bytes) -> list[Any]:
    head, at = _number(payload, 0)
    if head > len(payload):
        raise ValueError("no row")
    kinds = []
    while at < head:
        kind, at = _number(payload, at)
        kinds.append(kind)
        if len(kinds) > _REPETITION_COLUMNS:
            raise ValueError("none of these rows")
    out: list[Any] = []
    for kind in kinds:
        value, at = _value(payload, at, kind)
        out.append(value)
    return out


def _value(payload: bytes, at: int, kind: int) -> tuple[Any, int]:
    if kind in (8, 9):
        return kind - 8, at
    if kind in (3, 5):
        size = 3 if kind == 3 else 6
        return int.from_bytes(payload[at : at + size], "big", signed=True), at + size
    if kind in _FIXED:
        size, form = _FIXED[kind]
        return (struct.unpack_from(form, payload, at)[0] if form else None), at + size
    if kind < 12:
        raise ValueError("no such kind")
    size = (kind - 12) // 2
    raw = payload[at : at + size]
    if len(raw) < size:
        raise ValueError("too short")
    return (_text(raw) if kind & 1 else bytes(raw)), at + size


def _text(raw: bytes) -> str | bytes:
    try:
        return raw.decode()
    except UnicodeDecodeError:
        return bytes(raw)


def _number(page: bytes, at: int) -> tuple[int, int]:
    """A number of seven bits a byte, the highest first; and where the next one begins."""
    out = 0
    for _ in range(8):
        byte = page[at]
        at += 1
        out = out << 7 | byte & 0x7F
        if byte < 0x80:
            return out, at
    return out << 8 | page[at], at + 1
