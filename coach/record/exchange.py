"""The record as text that anybody can read, and back: nothing twice, nothing lost.

Two files of JSON Lines (one JSON value a line, UTF-8; https://jsonlines.org): ``pieces.jsonl`` and
``repetitions.jsonl``. A piece is known by its ``key``, a digest of its notes; a repetition by its
piece and its time, so that what is taken in twice is there once, in whatever order records join.
What comes back is byte for byte the row that went out.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Any, NamedTuple

from coach.coaching.model import Observation
from coach.judging.model import Label, Outcome
from coach.playing.notes import PedalMove, PlayedNote, Take
from coach.record import rows
from coach.record.packing import JudgedKey, unpack_moves, unpack_take, unpack_words
from coach.record.pieces import match_bars
from coach.record.recovery import join_bars, join_piece, join_plan, join_repetition
from coach.score.model import Hand, Hands
from coach.score.window import Transition

Plain = dict[str, Any]

FORM = 1
"""Of both files; each line says it."""


class NotOurLine(ValueError):
    """A line is none of an export's; its text says why, to go after the line's number."""


@dataclass(frozen=True, slots=True)
class ExportedRepetition:
    """One repetition on its way out."""

    plain: Plain
    """JSON-ready."""
    take: Take
    struck: tuple[JudgedKey, ...]


@dataclass(slots=True)
class Joined:
    """What came of taking something in."""

    repetitions: int = 0
    """New ones."""
    known: int = 0
    """Such as were there already."""


# -- out ------------------------------------------------------------------------------------------


def list_pieces(db: sqlite3.Connection) -> Iterator[tuple[int, Plain]]:
    """Every piece with its row's number, the one that was used first before all others."""
    query = f"SELECT id, {', '.join(rows.PIECE_COLUMNS)} FROM piece ORDER BY used_at_s, id"
    plans = {number: row for number, *row in db.execute("SELECT * FROM plan")}
    bars = dict(db.execute("SELECT * FROM bars"))
    for number, *values in db.execute(query):
        piece, used_at_s = rows.piece_in(*values[:4])
        try:
            state = rows.state_in(piece.key, values[4], values[5])
        except ValueError:
            state = None
        yield (
            number,
            {
                "form": FORM,
                "key": piece.key,
                "title": piece.title,
                "path": piece.path,
                "used_at_s": used_at_s,
                "state": state,
                "plan": _plan_out(*plans[number]) if number in plans else None,
                "bars": _bars_out(bars.get(number)),
            },
        )


def _plan_out(by_day: str, minutes: float) -> Plain:
    return {"by": by_day, "minutes_a_day": minutes}


def _bars_out(digests: str | None) -> object:
    """Where each bar begins, and what it is known by."""
    with suppress(ValueError, TypeError):
        return None if digests is None else json.loads(digests)
    return None


def list_repetitions(
    db: sqlite3.Connection, piece: int, key: str
) -> Iterator[ExportedRepetition | None]:
    """A piece's repetitions in order of time; None for one that is not as it was written."""
    query = f"SELECT {rows.CHECKED} FROM repetition WHERE piece_id = ? ORDER BY at_s, id"
    for row in db.execute(query, (piece,)):
        try:
            yield _export_repetition(row, key) if rows.is_sound(row) else None
        except ValueError:
            yield None


def _export_repetition(row: tuple[Any, ...], key: str) -> ExportedRepetition:
    at_s, start, end, hands, clean, qpm, moves, packed_take, words, _ = row
    take, struck = unpack_take(packed_take)
    observed = unpack_moves(moves, at_s, Hands(hands), qpm)
    plain = {
        "form": FORM,
        "piece": key,
        "at_s": at_s,
        "start_quarters": start,
        "end_quarters": end,
        "hands": hands,
        "clean": bool(clean),
        "qpm": qpm,
        "words": unpack_words(words),
        "notes": [_note(*pair) for pair in zip(take.notes, struck, strict=True)],
        "pedals": [[move.controller, move.value, move.at_s] for move in take.pedals],
        "moves": [_move(one) for one in observed],
    }
    return ExportedRepetition(plain, take, struck)


def _note(note: PlayedNote, was: JudgedKey) -> Plain:
    return {
        "pitch": note.pitch,
        "velocity": note.velocity,
        "onset_s": note.onset_s,
        "length_s": note.length_s,
        "label": was.label and was.label.value,
        "window_note": was.note,
        "hand": was.hand and was.hand.value,
        "error_ms": was.error_ms,
    }


def _move(one: Observation) -> Plain:
    return {
        "hands": one.transition.hands.value,
        "from_quarters": str(one.transition.from_quarters),
        "to_quarters": str(one.transition.to_quarters),
        "onset_quarters": str(one.onset_quarters),
        "outcome": one.outcome.value,
        "error_ms": one.error_ms,
        "hears_late": one.hears_late,
    }


# -- back in --------------------------------------------------------------------------------------


def take_in(
    db: sqlite3.Connection, pieces: Iterable[str], repetitions: Iterable[str]
) -> tuple[Joined, list[str]]:
    """Take in an export's lines, within a transaction; what was wrong with which line.

    A line that can't be read is left out; all others are taken.
    """
    joined, wrong, numbers = Joined(), list[str](), dict[str, int]()
    for at, line in enumerate(pieces, start=1):
        try:
            one = _piece_from(_parse(line))
        except NotOurLine as why:
            wrong.append(f"pieces.jsonl, line {at}: {why}")
            continue
        numbers[one.key] = number = join_piece(db, one.values)
        if one.bars is not None:
            join_bars(db, number, one.bars)
        if one.plan is not None:
            join_plan(db, number, *one.plan)
    for at, line in enumerate(repetitions, start=1):
        try:
            key, row = _row_from(_parse(line))
        except NotOurLine as why:
            wrong.append(f"repetitions.jsonl, line {at}: {why}")
            continue
        if key not in numbers:
            numbers[key] = join_piece(db, (key, rows.UNTITLED, "", row["at_s"], None, None))
        if join_repetition(db, numbers[key], row):
            joined.repetitions += 1
        else:
            joined.known += 1
    return joined, wrong


def _parse(line: str) -> Plain:
    try:
        plain = json.loads(line)
    except json.JSONDecodeError as error:
        raise NotOurLine(f"no JSON at column {error.colno}") from error
    except RecursionError as error:
        raise NotOurLine("too deep") from error
    if not isinstance(plain, dict):
        raise NotOurLine("no JSON object")
    if plain.get("form") != FORM:
        raise NotOurLine(f"form {plain.get('form')!r}, not {FORM}")
    return plain


class _Piece(NamedTuple):
    """A piece's line, as the record's tables have it."""

    key: str
    values: tuple[Any, ...]
    bars: str | None
    plan: tuple[str, float] | None


def _piece_from(plain: Mapping[str, Any]) -> _Piece:
    key, title, path, used_at_s = (
        plain.get(name) for name in ("key", "title", "path", "used_at_s")
    )
    if not isinstance(key, str) or not key or not rows.is_piece(key, title, path, used_at_s):
        raise NotOurLine("no piece")
    state = plain.get("state")
    if not isinstance(state, dict | None):
        raise NotOurLine("no state")
    text = None if state is None else json.dumps(state)
    values = (key, title, path, used_at_s, text, rows.piece_checksum(key, text))
    return _Piece(key, values, _bars_from(plain.get("bars")), _plan_from(plain.get("plan")))


def _bars_from(found: object) -> str | None:
    if found is None:
        return None
    text = json.dumps(found)
    try:
        match_bars(text, text)
    except ValueError as error:
        raise NotOurLine("bars are no bars") from error
    return text


def _plan_from(found: object) -> tuple[str, float] | None:
    if found is None:
        return None
    if not isinstance(found, dict):
        raise NotOurLine("no plan")
    try:
        by_day = date.fromisoformat(_text(found, "by")).isoformat()
        minutes = _number(found, "minutes_a_day")
    except (KeyError, ValueError) as error:
        raise NotOurLine("the plan has no day or no minutes") from error
    if minutes is None or not 0 < minutes <= _DAY_MIN:
        raise NotOurLine("the plan's minutes are none of a day")
    return by_day, minutes


_DAY_MIN = 24 * 60


def _row_from(plain: Mapping[str, Any]) -> tuple[str, rows.RowValues]:
    try:
        return str(_text(plain, "piece")), _pack_repetition(plain)
    except (KeyError, TypeError, ValueError, ZeroDivisionError, OverflowError) as error:
        if isinstance(error, NotOurLine):
            raise
        what = f"{error.args[0]} is missing" if isinstance(error, KeyError) else str(error)
        raise NotOurLine(what) from error


def _pack_repetition(plain: Mapping[str, Any]) -> rows.RowValues:
    at_s, hands, qpm = plain["at_s"], Hands(plain["hands"]), _number(plain, "qpm")
    if not rows.is_time(at_s):
        raise NotOurLine("at_s is no time")
    if not isinstance(plain["clean"], bool) or not isinstance(plain["words"], dict):
        raise NotOurLine("no verdict")
    moves = [
        Observation(
            at_s,
            Transition(
                Hands(one["hands"]), Fraction(one["from_quarters"]), Fraction(one["to_quarters"])
            ),
            Fraction(one["onset_quarters"]),
            hands,
            Outcome(one["outcome"]),
            qpm,
            _number(one, "error_ms"),
            float(one["hears_late"]),
        )
        for one in plain["moves"]
    ]
    struck = [
        JudgedKey(
            None if one["label"] is None else Label(one["label"]),
            None if one["window_note"] is None else int(one["window_note"]),
            None if one["hand"] is None else Hand(one["hand"]),
            _number(one, "error_ms"),
        )
        for one in plain["notes"]
    ]
    notes = [
        PlayedNote(
            int(one["pitch"]), int(one["velocity"]), float(one["onset_s"]), _number(one, "length_s")
        )
        for one in plain["notes"]
    ]
    pedals = [PedalMove(int(c), int(value), float(when)) for c, value, when in plain["pedals"]]
    return rows.pack_row(
        {
            "at_s": at_s,
            "start_quarters": str(Fraction(_text(plain, "start_quarters"))),
            "end_quarters": str(Fraction(_text(plain, "end_quarters"))),
            "hands": hands.value,
            "clean": plain["clean"],
            "qpm": qpm,
        },
        moves,
        Take(tuple(notes), tuple(pedals)),
        struck,
        plain["words"],
    )


def _text(plain: Mapping[str, Any], name: str) -> str:
    found = plain[name]
    if not isinstance(found, str):
        raise NotOurLine(f"{name} is no text")
    return found


def _number(plain: Mapping[str, Any], name: str) -> float | None:
    found = plain[name]
    if found is None:
        return None
    if type(found) not in (int, float) or not abs(found) < _LARGEST:
        raise NotOurLine(f"{name} is no number")
    return float(found)


_LARGEST = 1e12
"""No time, tempo or error is beyond it."""
