"""What a damaged file still holds, page by page: where SQLite itself can't find its way any more.

One bad byte high in a table's tree hides thousands of good rows from SQLite. They lie in pages of
their own, whole, and every repetition carries its checksum: what matches it is what was written.
The file format is https://sqlite.org/fileformat.html.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from coach.record import rows

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
