"""The practice record: every repetition with its take, its verdict and what followed from it."""

from __future__ import annotations

import json
import sqlite3
import tempfile
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from coach.coaching.facts import Observation
from coach.coaching.outcomes import RepetitionEnded
from coach.playing.notes import PedalMove, PlayedNote, Take
from coach.record import rows
from coach.record.database import OPEN_WAIT_S, SAVE_WAIT_S, Database
from coach.record.errors import RecordError
from coach.record.file import UNSAVED, RecordFile
from coach.record.inserting import Unsaved, insert, piece_id, touch
from coach.record.piece import PieceKey
from coach.record.seen import PieceSeen, RepetitionSeen

FILE = "record.sqlite3"


class Store:
    """The record in one folder.

    Belongs to one thread. A repetition that could not be saved is kept in memory and goes into the
    file with the next one, with ``save_unsaved``, or when the store is closed. A damaged file is
    kept aside under a dated name and a new one is started; ``notices`` says so.

    Raises RecordError, from every method, where the file can't be used.
    """

    def __init__(
        self, folder: Path, now: Callable[[], float] = time.time, *, opened: bool = True
    ) -> None:
        """``opened`` False: the file is opened once it is first used."""
        self._path, self._now = folder / FILE, now
        self._file = RecordFile(self._path, now)
        self._unsaved: list[Unsaved] = []
        if opened:
            self._file.open()

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
        limit = -1 if newest is None else newest

        def read(db: sqlite3.Connection) -> tuple[Observation, ...]:
            found = db.execute(rows.HISTORY, (piece_id(db, piece), since_s, limit))
            return tuple(rows.history(found))[::-1]

        return self._file.read(read)

    def recent(self, since_s: float) -> dict[PieceKey, tuple[Observation, ...]]:
        """What was observed from ``since_s`` on in every piece: where the weak spots are."""
        pieces = [seen.piece for seen in self.pieces()]
        found = ((piece, self.history(piece, since_s)) for piece in pieces)
        return {piece: observed for piece, observed in found if observed}

    def save_session_state(self, piece: PieceKey, plain: Mapping[str, Any]) -> None:
        """Keep where the pianist stands in a piece; it is then the last piece."""

        def save(db: sqlite3.Connection) -> None:
            touch(db, piece, self._now(), plain)

        self._file.write(save)

    def session_state(self, piece: PieceKey) -> dict[str, Any] | None:
        """Where the pianist stood when the piece was last open; None where it never was."""
        find = "SELECT state FROM piece WHERE key = ?"
        found = self._file.read(lambda db: db.execute(find, (piece.key,)).fetchone())
        state: dict[str, Any] | None = json.loads(found[0]) if found and found[0] else None
        return state

    def last_piece(self) -> PieceKey | None:
        """The piece that was open last."""
        seen = self.pieces()
        return seen[0].piece if seen else None

    def pieces(self) -> tuple[PieceSeen, ...]:
        """Every piece in the record, the last used first."""
        query = """
            SELECT p.key, p.title, p.path, p.used_at_s, count(r.id), coalesce(sum(r.clean), 0)
            FROM piece p LEFT JOIN repetition r ON r.piece_id = p.id
            GROUP BY p.id ORDER BY p.used_at_s DESC, p.id DESC
        """
        found = self._file.read(lambda db: db.execute(query).fetchall())
        return tuple(PieceSeen(PieceKey(*row[:3]), *row[3:]) for row in found)

    def repetitions(self, piece: PieceKey, newest: int = 100) -> tuple[RepetitionSeen, ...]:
        """The newest repetitions of a piece, the newest first."""
        query = """
            SELECT id, at_s, clean, qpm, sentence, start_quarters, end_quarters, hands
            FROM repetition WHERE piece_id = ? ORDER BY at_s DESC, id DESC LIMIT ?
        """
        found = self._file.read(
            lambda db: db.execute(query, (piece_id(db, piece), newest)).fetchall()
        )
        return tuple(RepetitionSeen(row[0], row[1], bool(row[2]), *row[3:]) for row in found)

    def take(self, repetition: int) -> Take:
        """What was played in a repetition."""
        notes = (
            "SELECT pitch, velocity, onset_s, length_s FROM note WHERE repetition_id = ? ORDER BY n"
        )
        pedals = "SELECT controller, value, at_s FROM pedal WHERE repetition_id = ? ORDER BY n"
        return self._file.read(
            lambda db: Take(
                tuple(PlayedNote(*row) for row in db.execute(notes, (repetition,))),
                tuple(PedalMove(*row) for row in db.execute(pedals, (repetition,))),
            )
        )

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

    def _flush(self, wait_s: float) -> None:
        def save(db: sqlite3.Connection) -> None:
            for unsaved in self._unsaved:
                insert(db, unsaved)

        if self._unsaved:
            self._file.write(save, wait_s)
            self._unsaved.clear()

    def _spill(self, error: RecordError) -> None:
        """Beside the record; where that can't be, where the system keeps what passes."""
        name = f"{UNSAVED}{self._file.stamp()}.sqlite3"
        beside, passing = self._path.with_name(name), Path(tempfile.gettempdir()) / name
        try:
            self._save_in(beside)
            then = f"are in {beside} and join it later."
        except RecordError:
            with suppress(OSError):  # what little of it may have been made
                beside.unlink(missing_ok=True)
            self._save_in(passing)
            then = f"are in {passing}: move that file to {beside.parent}, and they join it."
        self._unsaved.clear()
        self.notices.append(f"{error} The last repetitions {then}")

    def _save_in(self, file: Path) -> None:
        kept = Database(file)
        try:
            with kept.writing() as db:
                for unsaved in self._unsaved:
                    insert(db, unsaved)
        finally:
            kept.close()
