"""A score as plain JSON data, exactly, and back.

Conventions
-----------
The shape follows the model's own dataclasses, so that a field added there is kept without a word
here. Rows of one kind (notes, bars, clefs) are stored as columns. A column is a list with one
entry for each row, or, where values repeat, ``{"each": values, "at": indexes}`` (without ``at``
where one value serves for every row). A fraction is an integer or the text ``"n/d"``. Nothing in
it can be executed: a damaged entry gives a ValueError.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import fields, is_dataclass
from enum import Enum
from fractions import Fraction
from functools import cache
from itertools import repeat
from operator import attrgetter
from types import NoneType, UnionType
from typing import Any, NamedTuple, get_args, get_origin, get_type_hints

from coach.score.model import Score

FORMAT = 6
"""Raised whenever older data can no longer be read as the same score."""

Plain = Any
"""What :mod:`json` writes: dicts, lists, strings, numbers, booleans and None."""


class _Codec(NamedTuple):
    """How a value of one type is written and read, one by one or as a whole column."""

    write: Callable[[Any], Plain]
    read: Callable[[Plain], Any]


def score_to_plain(score: Score) -> dict[str, Plain]:
    """The score as data that :mod:`json` can write."""
    return {"format": FORMAT} | {
        name: codec.write(getattr(score, name)) for name, codec in _fields(Score)
    }


def score_from_plain(data: dict[str, Plain]) -> Score:
    """The score that :func:`score_to_plain` wrote; raises ValueError for anything else."""
    try:
        if data["format"] != FORMAT:
            raise ValueError(f"format {data['format']} is not {FORMAT}")
        return Score(**{name: codec.read(data[name]) for name, codec in _fields(Score)})
    except (KeyError, TypeError, IndexError, AttributeError, ZeroDivisionError) as error:
        raise ValueError(f"not a score: {error!r}") from error


@cache
def _fields(cls: type) -> tuple[tuple[str, _Codec], ...]:
    hints = get_type_hints(cls)
    return tuple((field.name, _codec(hints[field.name])) for field in fields(cls))


@cache
def _codec(hint: Any) -> _Codec:
    """The codec of a type that the model uses; a type that it does not yet use is an error."""
    origin, parts = get_origin(hint), get_args(hint)
    if origin is UnionType and NoneType in parts:
        return _optional(_codec(next(part for part in parts if part is not NoneType)))
    if origin is tuple and is_dataclass(row := parts[0]) and isinstance(row, type):
        return _table(row)
    if origin in (tuple, frozenset):
        return _several(origin, _codec(parts[0]))
    if hint in (int, str, bool, float):
        return _Codec(_same, _make_checker(hint))
    if hint is Fraction:
        return _Codec(_write_fraction, _read_fraction)
    if isinstance(hint, type) and issubclass(hint, Enum):
        return _Codec(attrgetter("value"), hint)
    if isinstance(hint, type) and is_dataclass(hint):
        return _record(hint)
    raise TypeError(f"no plain form for {hint}")


def _same(value: Any) -> Any:
    return value


def _make_checker(kind: type) -> Callable[[Plain], Any]:
    def read(value: Plain) -> Any:
        if type(value) is kind:
            return value
        if kind is float and type(value) is int:
            return float(value)
        raise ValueError(f"{value!r} is not of type {kind.__name__}")

    return read


def _write_fraction(value: Fraction) -> Plain:
    return value.numerator if value.denominator == 1 else str(value)


def _read_fraction(value: Plain) -> Fraction:
    if type(value) is int:
        return Fraction(value)
    numerator, _, denominator = value.partition("/")
    return Fraction(int(numerator), int(denominator))


def _optional(codec: _Codec) -> _Codec:
    return _Codec(
        lambda value: None if value is None else codec.write(value),
        lambda value: None if value is None else codec.read(value),
    )


def _several(kind: Callable[[Iterable[Any]], Any], codec: _Codec) -> _Codec:
    in_order = sorted if kind is frozenset else list  # a set is written in one order always
    return _Codec(
        lambda values: in_order(map(codec.write, values)),
        lambda values: kind(map(codec.read, values)),
    )


def _record(cls: type) -> _Codec:
    """A small dataclass (a spelling, a metre) as the list of its fields."""

    def write(value: Any) -> Plain:
        return [codec.write(getattr(value, name)) for name, codec in _fields(cls)]

    def read(values: Plain) -> Any:
        codecs = _fields(cls)
        return cls(*(codec.read(v) for (_, codec), v in zip(codecs, values, strict=True)))

    return _Codec(write, read)


def _table(cls: type) -> _Codec:
    """Rows of a dataclass, as columns."""

    def write(rows: Sequence[Any]) -> Plain:
        columns = {
            name: _write_column([getattr(row, name) for row in rows], codec)
            for name, codec in _fields(cls)
        }
        return {"rows": len(rows), "columns": columns}

    def read(data: Plain) -> Any:
        count, columns = data["rows"], data["columns"]
        values = (_read_column(columns[name], count, codec) for name, codec in _fields(cls))
        return tuple(map(cls, *values))

    return _Codec(write, read)


def _write_column(values: list[Any], codec: _Codec) -> Plain:
    distinct = list(dict.fromkeys(values))
    if 2 * len(distinct) > len(values):
        return [codec.write(value) for value in values]
    each = [codec.write(value) for value in distinct]
    if len(distinct) == 1:
        return {"each": each}
    places = {value: place for place, value in enumerate(distinct)}
    return {"each": each, "at": [places[value] for value in values]}


def _read_column(column: Plain, count: int, codec: _Codec) -> Iterable[Any]:
    if type(column) is list:
        values = [codec.read(value) for value in column]
    else:
        each = [codec.read(value) for value in column["each"]]
        if "at" not in column:
            (only,) = each
            return repeat(only, count)
        values = [each[place] for place in column["at"]]
    if len(values) != count:
        raise ValueError(f"a column has {len(values)} values, not {count}")
    return values
