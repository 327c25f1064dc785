"""The record's file in its place: opened, begun anew where it is damaged or was removed."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from os.path import exists  # False, and no error, where a folder may not be looked into
from pathlib import Path
from typing import TypeVar

from coach.private_files import make_private_folder
from coach.record.database import (
    OPEN_WAIT_S,
    SAVE_WAIT_S,
    Damaged,
    Database,
    Say,
    dated,
    keep_aside,
)
from coach.record.errors import RecordError
from coach.record.folder import close_to_others
from coach.record.header import VERSION
from coach.record.merge import join_file, rescue

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
        self._database = self._opened(OPEN_WAIT_S)

    def look(self) -> None:
        """See to it that it is open and in its place."""
        self._here()

    def read(self, work: Callable[[sqlite3.Connection], _T]) -> _T:
        """Queries."""
        try:
            with self._here().reading() as db:
                return work(db)
        except Damaged:
            with self._sound(), self._start_anew().reading() as db:
                return work(db)

    def write(
        self, work: Callable[[sqlite3.Connection], None], wait_s: float = SAVE_WAIT_S
    ) -> None:
        """One transaction."""
        try:
            with self._here().writing(wait_s) as db:
                work(db)
        except Damaged:
            with self._sound(), self._start_anew().writing(wait_s) as db:
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
        return dated(self._now())

    def _here(self) -> Database:
        """The file, opened where it was not; anew where it no longer lies in its place."""
        if self._database and self._database.is_in_place():
            return self._database
        was_open = self._database is not None
        self.close()
        with suppress(OSError):  # else the file can't be made, which is said in a sentence
            make_private_folder(self._path.parent)
        begun = not exists(self._path)
        self._database = self._opened(0.0)
        if was_open and begun:
            self.notices.append(
                f"The practice record ({self._path}) was removed while Keyhole ran: a new one "
                "holds what was played since."
            )
        return self._database

    def _opened(self, wait_s: float) -> Database:
        backup = self._path.with_name(
            f"{self._path.stem}-before-version-{VERSION}-{self.stamp()}{self._path.suffix}"
        )
        try:
            opened = Database(self._path, wait_s, say=self._say, backup=backup)
        except Damaged:
            with self._sound():
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
    def _sound(self) -> Iterator[None]:
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
            f"{_rescued(rescue(fresh, aside))}."
        )
        return fresh


def _rescued(count: int) -> str:
    if count == 0:
        return "is begun: none of its repetitions could be read any longer"
    some = "1 repetition" if count == 1 else f"{count} repetitions"
    return f"holds the {some} that could still be read"
