"""The record through any order of what may happen to it: what was acknowledged is there."""

import os
import shutil
import sqlite3
import tempfile
from contextlib import suppress
from pathlib import Path
from unittest.mock import patch

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from coach.record.folder import RecordError
from coach.record.lock import Lease
from coach.record.pieces import PieceKey, piece_key
from coach.record.store import FILE, Store
from tests.records import SCORE, ended

PIECES = (piece_key(SCORE, "two_hands.musicxml"), PieceKey("other", "Another Piece"))
NOON_S = 1_700_000_000.0
pieces = st.sampled_from(PIECES)
IN_MEMORY = "/dev/shm" if os.path.isdir("/dev/shm") else None
"""Files that need no disk, where the system has such: what is tried here is order, not the disk."""


class RecordMachine(RuleBasedStateMachine):
    """A model beside it: what was acknowledged, and what waits in memory."""

    def __init__(self) -> None:
        super().__init__()
        self.top = Path(tempfile.mkdtemp(dir=IN_MEMORY))
        self.patience = patch("coach.record.store.SAVE_WAIT_S", 0.001)
        """Whoever holds the file lets go of it in this thread: waiting brings nothing."""
        self.patience.start()
        self.folder = self.top / "0"
        self.folder.mkdir()
        self.now_s = NOON_S
        self.store = self.open()
        self.left: list[Store] = []
        """Stores of programs that crashed."""
        self.kept: dict[PieceKey, list[tuple[float, bool]]] = {piece: [] for piece in PIECES}
        self.places: dict[PieceKey, dict[str, int]] = {}
        self.waiting: list[tuple[PieceKey, float, bool, dict[str, int]]] = []
        self.holder: sqlite3.Connection | None = None
        self.leases = [Lease(self.folder), Lease(self.folder)]
        self.blocked = False

    def open(self) -> Store:
        return Store(self.folder, lambda: self.now_s)

    def connection(self) -> sqlite3.Connection:
        """The program's own, as the disk below it would see it."""
        self.store.pieces()
        database = self.store._file._database
        assert database
        return database._connection

    def acknowledged(self) -> None:
        for piece, at_s, clean, place in self.waiting:
            self.kept[piece].append((at_s, clean))
            self.places[piece] = place
        self.waiting.clear()

    # -- what a pianist and a program do ----------------------------------------------------------

    @rule(piece=pieces, cleans=st.lists(st.booleans(), min_size=1, max_size=3))
    def save(self, piece: PieceKey, cleans: list[bool]) -> None:
        for clean in cleans:
            self._save(piece, clean)

    def _save(self, piece: PieceKey, clean: bool) -> None:
        self.now_s += 10
        place = {"at": int(self.now_s)}
        self.waiting.append((piece, self.now_s, clean, place))
        try:
            self.store.save_repetition(piece, ended(clean=clean), self.now_s, place)
        except RecordError:
            assert self.holder or self.blocked
        else:
            self.acknowledged()

    @rule()
    def try_again(self) -> None:
        try:
            self.store.save_unsaved()
        except RecordError:
            assert self.holder or self.blocked
        else:
            self.acknowledged()

    @rule(piece=pieces, run=st.integers(0, 9))
    def save_place(self, piece: PieceKey, run: int) -> None:
        try:
            self.store.save_session_state(piece, {"run": run})
        except RecordError:
            assert self.holder or self.blocked
        else:
            # what waits in memory was played before, and goes in later with its own place
            self.places[piece] = {"run": run}

    @precondition(lambda self: self.holder is None)
    @rule()
    def close_and_open(self) -> None:
        self.store.close()  # where it can't be written to, what waits goes into a file beside it
        self.store = self.open()
        self.blocked = False
        self.acknowledged()

    @rule()
    def crash(self) -> None:
        """The files as they are at this moment are all that is left."""
        number = int(self.folder.name) + 1
        shutil.copytree(self.folder, self.top / str(number))
        self.left.append(self.store)
        self.let_go()
        for lease in self.leases:
            lease.give_back()
        self.folder = self.top / str(number)
        self.leases = [Lease(self.folder), Lease(self.folder)]
        self.store = self.open()
        self.blocked = False
        self.waiting.clear()

    # -- what happens to the file -----------------------------------------------------------------

    @precondition(lambda self: self.holder is None and (self.folder / FILE).exists())
    @rule()
    def hold(self) -> None:
        other = sqlite3.connect(self.folder / FILE, isolation_level=None, timeout=0)
        other.execute("BEGIN IMMEDIATE")
        self.holder = other

    @precondition(lambda self: self.holder is not None)
    @rule()
    def let_go(self) -> None:
        if self.holder:
            self.holder.execute("ROLLBACK")
            self.holder.close()
        self.holder = None

    @rule()
    def fill_disk(self) -> None:
        db = self.connection()
        db.execute(f"PRAGMA max_page_count = {db.execute('PRAGMA page_count').fetchone()[0]}")
        self.blocked = True

    @rule()
    def make_read_only(self) -> None:
        self.connection().execute("PRAGMA query_only = ON")
        self.blocked = True

    @rule()
    def make_room(self) -> None:
        db = self.connection()
        db.execute("PRAGMA max_page_count = 1000000")
        db.execute("PRAGMA query_only = OFF")
        self.blocked = False

    @precondition(lambda self: self.holder is None and any(self.kept.values()))
    @rule(data=st.data())
    def spoil(self, data: st.DataObject) -> None:
        """Garbage in a column of one repetition: that one is lost, and nothing else."""
        piece = data.draw(st.sampled_from([piece for piece in PIECES if self.kept[piece]]))
        at_s, _ = gone = data.draw(st.sampled_from(self.kept[piece]))
        column = data.draw(st.sampled_from(["hands", "moves", "take", "words", "clean"]))
        with sqlite3.connect(self.folder / FILE) as db:
            found = db.execute(
                f"UPDATE repetition SET {column} = 'xlean' WHERE at_s = ?", (at_s,)
            ).rowcount
        db.close()
        assert found == 1
        self.kept[piece].remove(gone)

    # -- two at one piano -------------------------------------------------------------------------

    @rule(which=st.integers(0, 1))
    def take_lease(self, which: int) -> None:
        taken = self.leases[1 - which].ours
        assert self.leases[which].take() is not taken

    @rule(which=st.integers(0, 1))
    def give_lease_back(self, which: int) -> None:
        self.leases[which].give_back()

    # -- what always holds ------------------------------------------------------------------------

    @invariant()
    def all_that_was_acknowledged_is_there(self) -> None:
        for piece, kept in self.kept.items():
            seen = self.store.repetitions(piece, newest=10**6)
            assert [(one.at_s, one.clean) for one in reversed(seen)] == kept
            assert len(self.store.history(piece)) == len(kept) * MOVES
            if piece in self.places:
                assert self.store.session_state(piece) == self.places[piece]
        assert self.store.unsaved == len(self.waiting)

    def teardown(self) -> None:
        self.let_go()
        for store in (*self.left, self.store):
            store._unsaved.clear()
            with suppress(RecordError):
                store.close()
        for lease in self.leases:
            lease.give_back()
        shutil.rmtree(self.top)
        self.patience.stop()


MOVES = len(ended().judgement.transitions)

RecordMachine.TestCase.settings = settings(
    max_examples=30,
    stateful_step_count=40,
    deadline=None,
    suppress_health_check=list(HealthCheck),
)
TestRecordMachine = pytest.mark.property(RecordMachine.TestCase)
