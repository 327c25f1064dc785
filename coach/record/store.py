"""The practice record: every repetition with its take, its verdict and what followed from it.

The weak spots of a piece follow from its repetitions, and what was found out of past days is kept.
``weak_spots`` holds them as they stood at the end of a day, so that each morning only the days
since are read: reading ten years again would take a minute. It can always be made anew, and is
where its repetitions are no longer those that it was made from (a record was taken in, a damaged
row set aside), or where it is damaged itself.
"""

from __future__ import annotations

import json
import sqlite3
import tempfile
import time
import zlib
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from functools import partial
from heapq import merge
from pathlib import Path
from typing import Any, TypeVar

from coach.coaching.drill import RepetitionEnded
from coach.coaching.model import Observation
from coach.coaching.planning import DatePlan, Day, Memory, PlayedOnce, WeakSpot, follow_day
from coach.playing.notes import Take
from coach.record import rows
from coach.record.calendar import begin_of_day_s, day_of
from coach.record.database import OPEN_WAIT_S, SAVE_WAIT_S, Damaged, Database, Say
from coach.record.folder import FILE, NotOurs, RecordError
from coach.record.pieces import (
    MovedBars,
    PieceKey,
    PieceSummary,
    RepetitionSummary,
    match_bars,
    move_observations,
)
from coach.record.recovery import UNSAVED, RecordFile
from coach.record.rows import (
    BadRow,
    Unsaved,
    describe_set_aside,
    insert_repetition,
    piece_id,
    set_aside,
    touch_piece,
)
from coach.score.model import Hands
from coach.score.window import Transition

__all__ = ["FILE", "Store"]

_T = TypeVar("_T")


class Store:
    """The record in one folder.

    Belongs to one thread. A repetition that could not be saved is kept in memory and goes into the
    file with the next one, with ``save_unsaved``, or when the store is closed. A damaged file is
    kept aside under a dated name and a new one is started; a row that can't be read is set aside
    within the file; ``notices`` says so.

    Raises RecordError, from every method, where the file can't be used.
    """

    def __init__(
        self,
        folder: Path,
        now: Callable[[], float] = time.time,
        *,
        opened: bool = True,
        say: Say | None = None,
    ) -> None:
        """``opened`` False: the file is opened once it is first used.

        ``say`` is told what of it takes long: an older record is brought up to date first.
        """
        self._path, self._now = folder / FILE, now
        self._file = RecordFile(self._path, now, say)
        self._unsaved: list[Unsaved] = []
        self._aside: set[BadRow] = set()
        self._told_aside = ""
        if opened:
            self._file.open()

    @property
    def folder(self) -> Path:
        """Where the record is kept."""
        return self._path.parent

    @property
    def notices(self) -> list[str]:
        """Sentences to show to the pianist; whoever shows them empties the list."""
        return self._file.notices

    @property
    def unsaved(self) -> int:
        """Repetitions that are not in the file yet."""
        return len(self._unsaved)

    def save_repetition(
        self,
        piece: PieceKey,
        ended: RepetitionEnded,
        at_s: float,
        state: Mapping[str, Any] | None = None,
    ) -> None:
        """Keep a repetition, in one transaction: take, labels, observations, decision.

        ``at_s`` is unix time. ``state``, where the pianist now stands, goes in with it.
        """
        self._unsaved.append(Unsaved(piece, ended, at_s, state))
        self._flush(SAVE_WAIT_S)

    def save_unsaved(self) -> None:
        """Try again to keep what could not be kept; never waits for another program.

        Raises RecordError also where there is nothing yet to be kept in a record that is not there.
        """
        self._file.look()
        self._flush(0.0)

    def history(
        self, piece: PieceKey, since_s: float = float("-inf"), newest: int | None = None
    ) -> tuple[Observation, ...]:
        """What was observed in a piece from ``since_s`` (unix time) on, in order.

        ``newest``: only so many, the last ones: what is older has faded from belief, and reading
        it would make a piece open slower with every year.
        """

        def read(db: sqlite3.Connection, bad: list[BadRow]) -> tuple[Observation, ...]:
            found: list[tuple[Observation, ...]] = []
            count = 0
            for one in _newest_first(db, piece, since_s, bad):
                if newest is not None and count >= newest:
                    break
                found.append(one)
                count += len(one)
            flat = [one for repetition in reversed(found) for one in repetition]
            return tuple(flat if newest is None else flat[len(flat) - min(newest, len(flat)) :])

        return self._read(read)

    def weak_spots(self, piece: PieceKey) -> tuple[WeakSpot, ...]:
        """Every weak spot that a piece ever had, as it stands now.

        What was found out of past days is kept, so that only the days since are read.
        """
        kept: list[tuple[int, KeptSpots]] = []

        def read(db: sqlite3.Connection, bad: list[BadRow]) -> tuple[WeakSpot, ...]:
            number = piece_id(db, piece)
            relatives = _relatives(db, piece)

            def count_since(at_s: float) -> int:
                query = "SELECT count(*) FROM repetition WHERE piece_id = ? AND at_s >= ?"
                return sum(db.execute(query, (one, at_s)).fetchone()[0] for one, _ in relatives)

            def read_since(at_s: float) -> tuple[tuple[Observation, ...], ...]:
                return tuple(_newest_first(db, piece, at_s, bad))[::-1]

            begun = load_spots(db, number) if number is not None else NO_DAYS_YET
            if begun.repetitions != count_since(0.0) - count_since(begun.until_s):
                begun = NO_DAYS_YET
            spots, closed = follow_until(begun, read_since, count_since, self._now())
            if number is not None and closed != begun:
                kept.append((number, closed))
            return spots

        spots = self._read(read)
        for number, closed in kept:
            with suppress(RecordError):  # then they are found out again the next time
                self._file.write(partial(_save_spots, number, closed), SAVE_WAIT_S)
        return spots

    def windows_played(self, piece: PieceKey) -> frozenset[tuple[Fraction, Fraction]]:
        """Where each window of a piece that was ever played begins and ends."""
        query = "SELECT DISTINCT start_quarters, end_quarters FROM repetition WHERE piece_id = ?"

        def read(db: sqlite3.Connection, bad: list[BadRow]) -> frozenset[tuple[Fraction, Fraction]]:
            out = set[tuple[Fraction, Fraction]]()
            for start, end in db.execute(query, (piece_id(db, piece),)):
                with suppress(ValueError, TypeError, ZeroDivisionError):
                    out.add((Fraction(start), Fraction(end)))
            return frozenset(out)

        return self._read(read)

    def save_plan(self, piece: PieceKey, plan: DatePlan | None) -> None:
        """Keep until when a piece is to be learnt; None forgets it."""

        def save(db: sqlite3.Connection) -> None:
            number = piece_id(db, piece)
            if number is None:  # planning a piece is not playing it
                number = touch_piece(db, piece, self._now(), None)
            db.execute("DELETE FROM plan WHERE piece_id = ?", (number,))
            if plan is not None:
                by_day = date.fromordinal(plan.by_day).isoformat()
                db.execute("INSERT INTO plan VALUES (?, ?, ?)", (number, by_day, plan.minutes))

        self._file.write(save)

    def plan(self, piece: PieceKey) -> DatePlan | None:
        """Until when a piece is to be learnt; None where nothing is planned."""
        return self.plans().get(piece.key)

    def plans(self) -> dict[str, DatePlan]:
        """Every plan to a date, by the key of its piece."""
        query = "SELECT key, by_day, minutes FROM plan JOIN piece ON piece.id = piece_id"

        def read(db: sqlite3.Connection, bad: list[BadRow]) -> dict[str, DatePlan]:
            out: dict[str, DatePlan] = {}
            for key, by_day, minutes in db.execute(query):
                with suppress(ValueError, TypeError):
                    out[key] = DatePlan(date.fromisoformat(by_day).toordinal(), float(minutes))
            return out

        return self._read(read)

    def save_session_state(self, piece: PieceKey, plain: Mapping[str, Any]) -> None:
        """Keep where the pianist stands in a piece; it is then the last piece."""

        def save(db: sqlite3.Connection) -> None:
            touch_piece(db, piece, self._now(), plain)

        self._file.write(save)

    def session_state(self, piece: PieceKey) -> dict[str, Any] | None:
        """Where the pianist stood when the piece was last open; None where it never was."""
        find = "SELECT id, state, checksum FROM piece WHERE key = ?"

        def read(db: sqlite3.Connection, bad: list[BadRow]) -> dict[str, Any] | None:
            for number, state, told_of_it in db.execute(find, (piece.key,)):
                try:
                    return rows.state_in(piece.key, state, told_of_it)
                except ValueError:
                    bad.append(BadRow("state", number))
            return None

        return self._read(read)

    def last_piece(self) -> PieceKey | None:
        """The piece that was open last."""
        seen = self.pieces()
        return seen[0].piece if seen else None

    def pieces(self) -> tuple[PieceSummary, ...]:
        """Every piece in the record, the last used first."""
        query = """
            SELECT id, key, title, path, used_at_s, repetitions, clean
            FROM piece ORDER BY used_at_s DESC, id DESC
        """

        def read(db: sqlite3.Connection, bad: list[BadRow]) -> tuple[PieceSummary, ...]:
            out = []
            for number, *entry, repetitions, clean in db.execute(query):
                if not rows.is_piece(*entry):
                    bad.append(BadRow("piece", number))
                counts = [one if type(one) is int else 0 for one in (repetitions, clean)]
                piece, used_at_s = rows.piece_in(*entry)
                out.append(PieceSummary(piece, used_at_s, *counts))
            return tuple(sorted(out, key=lambda one: -one.used_at_s) if bad else out)

        return self._read(read)

    def repetitions(self, piece: PieceKey, newest: int = 100) -> tuple[RepetitionSummary, ...]:
        """The newest repetitions of a piece, the newest first."""
        query = f"""
            SELECT id, {rows.CHECKED} FROM repetition WHERE piece_id = ?
            ORDER BY at_s DESC, id DESC
        """

        def read(db: sqlite3.Connection, bad: list[BadRow]) -> tuple[RepetitionSummary, ...]:
            out: list[RepetitionSummary] = []
            for number, *row in db.execute(query, (piece_id(db, piece),)):
                if len(out) == newest:
                    break
                if (seen := _read_sound_row(rows.read_summary, number, row, bad)) is not None:
                    out.append(seen)
            return tuple(out)

        return self._read(read)

    def played_before(self, piece: PieceKey, until_s: float) -> tuple[int, float]:
        """How many repetitions of a piece the record has from before a time, and the sum of their
        times: by these two it is known whether they are the same as before."""
        query = "SELECT count(*), total(at_s) FROM repetition WHERE piece_id = ? AND at_s < ?"

        def read(db: sqlite3.Connection, bad: list[BadRow]) -> tuple[int, float]:
            count, times = db.execute(query, (piece_id(db, piece), until_s)).fetchone()
            return count, times

        return self._read(read)

    def played(self, piece: PieceKey, newest: int, since_s: float = 0.0) -> tuple[PlayedOnce, ...]:
        """The newest repetitions of a piece from a time on, as progress looks at them, in order of
        time."""
        query = f"""
            SELECT id, {rows.CHECKED} FROM repetition WHERE piece_id = ? AND at_s >= ?
            ORDER BY at_s DESC, id DESC LIMIT ?
        """

        def read(db: sqlite3.Connection, bad: list[BadRow]) -> tuple[PlayedOnce, ...]:
            found = db.execute(query, (piece_id(db, piece), since_s, newest))
            each = (
                _read_sound_row(lambda _, row: rows.read_played(row), number, row, bad)
                for number, *row in found
            )
            return tuple(one for one in each if one is not None)[::-1]

        return self._read(read)

    def take(self, repetition: int) -> Take:
        """What was played in a repetition; nothing where that can't be read any longer."""
        query = f"SELECT id, {rows.CHECKED} FROM repetition WHERE id = ?"

        def read(db: sqlite3.Connection, bad: list[BadRow]) -> Take:
            for number, *row in db.execute(query, (repetition,)):
                if take := _read_sound_row(lambda _, row: rows.take_in(row), number, row, bad):
                    return take
            return Take(())

        return self._read(read)

    def close(self) -> None:
        """Save what is still unsaved and close the file.

        What can't go into it goes into a file of its own, which joins the record when it is next
        opened; ``notices`` says so. Where that fails too, RecordError says so.
        """
        try:
            self._flush(OPEN_WAIT_S)
        except RecordError as error:
            self._spill(error)
        self._file.close()

    def _read(self, work: Callable[[sqlite3.Connection, list[BadRow]], _T]) -> _T:
        """Queries; what could not be read of their rows is set aside, and said."""
        bad: list[BadRow] = []

        def read(db: sqlite3.Connection) -> _T:
            bad.clear()  # of a file that was damaged throughout
            return work(db, bad)

        out = self._file.read(read)
        if new := [one for one in bad if one not in self._aside]:
            self._set_aside(new)
        return out

    def _set_aside(self, bad: list[BadRow]) -> None:
        self._aside.update(bad)
        with suppress(RecordError):  # then they are passed over where they lie
            self._file.write(lambda db: set_aside(db, bad, self._now()), SAVE_WAIT_S)
        repetitions = sum(one.table == "repetition" for one in self._aside)
        pieces = len({one.id for one in self._aside if one.table != "repetition"})
        if self._told_aside in self.notices:  # not yet shown: one sentence for all
            self.notices.remove(self._told_aside)
        self._told_aside = describe_set_aside(repetitions, pieces)
        self.notices.append(self._told_aside)

    def _flush(self, wait_s: float) -> None:
        def save(db: sqlite3.Connection) -> None:
            for unsaved in self._unsaved:
                insert_repetition(db, unsaved)

        if self._unsaved:
            self._file.write(save, wait_s)
            self._unsaved.clear()

    def _spill(self, error: RecordError) -> None:
        """Beside the record; where that can't be, where the system keeps what passes."""
        name = f"{UNSAVED}{self._file.stamp()}.sqlite3"
        beside = self._path.with_name(name)
        try:
            self._save_in(beside)
            then = f"are in {beside} and join it later."
            if isinstance(error, NotOurs):
                then = f"are in {beside}: move it to the folder that you choose, and they join it."
        except (RecordError, Damaged):
            with suppress(OSError):  # what little of it may have been made
                beside.unlink(missing_ok=True)
            passing = self._passing() / name
            self._save_in(passing)
            then = f"are in {passing}: move that file to {beside.parent}, and they join it."
        self._unsaved.clear()
        self.notices.append(f"{error} The last repetitions {then}")

    def _passing(self) -> Path:
        """A folder of our own where the system keeps what passes: anybody may write in that."""
        try:
            return Path(tempfile.mkdtemp(prefix="keyhole-"))
        except OSError as error:
            raise RecordError(
                f"The last repetitions are lost: neither {self._path.parent} nor the system's own "
                f"place for what passes can be written to ({error.strerror or error})."
            ) from error

    def _save_in(self, file: Path) -> None:
        kept = Database(file)
        try:
            with kept.writing() as db:
                for unsaved in self._unsaved:
                    insert_repetition(db, unsaved)
        finally:
            kept.close()


def _relatives(
    db: sqlite3.Connection, piece: PieceKey
) -> tuple[tuple[int, tuple[MovedBars, ...] | None], ...]:
    """The piece's row with None, and those of other versions of its score with the bars that are
    alike."""
    number = piece_id(db, piece)
    found = db.execute("SELECT digests FROM bars WHERE piece_id = ?", (number,)).fetchone()
    bars = piece.bars or (found[0] if found else "")
    out: list[tuple[int, tuple[MovedBars, ...] | None]] = [] if number is None else [(number, None)]
    query = """
        SELECT piece.id, bars.digests FROM piece JOIN bars ON bars.piece_id = piece.id
        WHERE piece.key != ? AND ((piece.path != '' AND piece.path = ?) OR piece.title = ?)
    """
    if bars:
        for other, digests in db.execute(query, (piece.key, piece.path, piece.title)):
            with suppress(ValueError):
                if moves := match_bars(digests, bars):
                    out.append((other, moves))
    return tuple(out)


def _newest_first(
    db: sqlite3.Connection, piece: PieceKey, since_s: float, bad: list[BadRow]
) -> Iterator[tuple[Observation, ...]]:
    """What was observed in each repetition of a piece, also in other versions of its score."""
    query = f"""
        SELECT id, {rows.CHECKED} FROM repetition WHERE piece_id = ? AND at_s >= ?
        ORDER BY at_s DESC, id DESC
    """

    def read(number: int, moves: tuple[MovedBars, ...] | None) -> Iterator[tuple[Observation, ...]]:
        for one in _read_observations(db.execute(query, (number, since_s)), bad):
            moved = one if moves is None else tuple(move_observations(one, moves))
            if moved:
                yield moved

    every = [read(number, moves) for number, moves in _relatives(db, piece)]
    return merge(*every, key=lambda one: one[0].at_s, reverse=True)


def _save_spots(number: int, kept: KeptSpots, db: sqlite3.Connection) -> None:
    save_spots(db, number, kept)


def _read_observations(
    found: Iterable[tuple[Any, ...]], bad: list[BadRow]
) -> Iterator[tuple[Observation, ...]]:
    """What was observed in each repetition that can be read, and in which anything was."""
    for number, *row in found:
        if observed := _read_sound_row(
            lambda _, row: rows.read_observations(row), number, row, bad
        ):
            yield observed


def _read_sound_row(
    read: Callable[[int, list[Any]], _T], number: int, row: list[Any], bad: list[BadRow]
) -> _T | None:
    """What is read of a repetition's row; None, and noted, where it is not as it was written."""
    try:
        if rows.is_sound(row):
            return read(number, row)
    except ValueError:
        pass
    bad.append(BadRow("repetition", number))
    return None


# The weak spots of a piece, from its repetitions: what was found out of past days is kept.

SPOTS_FORM = 1
"""Of what is kept: another one is made anew. Raise it where what makes a spot weak changes."""

ReadSince = Callable[[float], tuple[tuple[Observation, ...], ...]]
"""Gives what was observed in each repetition from a time on, in order."""


@dataclass(frozen=True, slots=True)
class KeptSpots:
    """The spots as they stood when a day began."""

    until_s: float
    """What was played before it is in them."""
    repetitions: int
    """How many those were."""
    spots: tuple[WeakSpot, ...]


NO_DAYS_YET = KeptSpots(0.0, 0, ())


def follow_until(
    kept: KeptSpots, read_since: ReadSince, count_since: Callable[[float], int], now_s: float
) -> tuple[tuple[WeakSpot, ...], KeptSpots]:
    """The spots as they stand now, and as they stood when this day began."""
    today = day_of(now_s)
    begin_s = begin_of_day_s(today)
    known = {spot.transition: spot for spot in kept.spots}
    days: dict[Day, list[Observation]] = defaultdict(list)
    for observed in read_since(kept.until_s):
        days[day_of(observed[0].at_s)] += observed
    for day in sorted(day for day in days if day < today):
        known = follow_day(known, day, days.pop(day))
    closed = kept
    if begin_s > kept.until_s:
        past = count_since(kept.until_s) - count_since(begin_s)
        closed = KeptSpots(begin_s, kept.repetitions + past, tuple(known.values()))
    for day in sorted(days):
        known = follow_day(known, day, days[day])
    return tuple(known.values()), closed


def load_spots(db: sqlite3.Connection, piece: int) -> KeptSpots:
    """What is kept of a piece; from the beginning where nothing is, or not as it was written."""
    query = "SELECT until_s, repetitions, spots, checksum FROM weak_spots WHERE piece_id = ?"
    found = db.execute(query, (piece,)).fetchone()
    try:
        until_s, repetitions, text, told = found
        if _checksum(until_s, repetitions, text) != told:
            return NO_DAYS_YET
        form, plain = json.loads(text)
        spots = tuple(_spot_from(one) for one in plain) if form == SPOTS_FORM else None
    except (TypeError, ValueError, AttributeError):
        return NO_DAYS_YET
    return NO_DAYS_YET if spots is None else KeptSpots(until_s, repetitions, spots)


def save_spots(db: sqlite3.Connection, piece: int, kept: KeptSpots) -> None:
    """Keep them, within a transaction."""
    text = json.dumps([SPOTS_FORM, [_spot_to_plain(one) for one in kept.spots]])
    values = (kept.until_s, kept.repetitions, text)
    query = "INSERT OR REPLACE INTO weak_spots VALUES (?, ?, ?, ?, ?)"
    db.execute(query, (piece, *values, _checksum(*values)))


def _checksum(until_s: float, repetitions: int, text: str) -> int:
    return zlib.crc32(f"{until_s!r} {repetitions} {text}".encode())


def _spot_to_plain(spot: WeakSpot) -> list[Any]:
    move, memory = spot.transition, spot.memory
    return [
        move.hands.value, str(move.from_quarters), str(move.to_quarters),
        spot.failures, spot.tries, spot.mended, spot.qpm,
        memory.stability_days, memory.difficulty, memory.at_s,
        spot.failed_on, spot.played_on, spot.held_days, spot.weak_days, spot.held_pause_days,
    ]  # fmt: skip


def _spot_from(plain: Iterable[Any]) -> WeakSpot:
    hands, start, end, failures, tries, mended, qpm, stable, hard, at_s, *days = plain
    return WeakSpot(
        Transition(Hands(hands), Fraction(start), Fraction(end)),
        failures,
        tries,
        mended,
        qpm,
        Memory(stable, hard, at_s),
        *days,
    )
