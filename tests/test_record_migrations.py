"""A record of an earlier version: all of it is taken along, whatever happens meanwhile."""

import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from argparse import Namespace
from contextlib import closing, suppress
from functools import partial
from pathlib import Path

import pytest

from coach.cli.storage import Storage, close_record
from coach.coaching.observations import observe_transitions
from coach.record.folder import VERSION, RecordError, is_older
from coach.record.pieces import PieceKey, piece_key
from coach.record.store import FILE, Store
from scripts.old_record import add_old, make_old_record
from tests.breadth import every
from tests.jackrig import wait_for
from tests.records import SCORE, ended, select

PIECE = piece_key(SCORE, "two_hands.musicxml")
OTHER = PieceKey("other", "Another Piece")
NOON_S = 1_700_000_000.0
MOVES = len(observe_transitions(ended().judgement, 0.0))


def old_record(folder: Path, version: int = 2, repetitions: int = 7) -> Path:
    """A record as it was kept then; every second repetition unclean."""
    make_old_record(folder / FILE, version)
    with closing(sqlite3.connect(folder / FILE)) as db, db:
        for k in range(repetitions):
            add_old(db, PIECE, ended(clean=k % 2 == 0), NOON_S + k, {"clean_run": k}, version)
        add_old(db, OTHER, ended(), NOON_S - 50, None, version)
    return folder / FILE


def change(file: Path, *queries: str) -> None:
    with closing(sqlite3.connect(file)) as db, db:
        for query in queries:
            db.execute(query)


@pytest.mark.parametrize("version", [1, 2])
def test_an_older_record_is_taken_along_whole(tmp_path: Path, version: int) -> None:
    old = old_record(tmp_path, version)
    assert is_older(old)
    before = select(old, "SELECT * FROM note ORDER BY repetition_id, n")
    store = Store(tmp_path, lambda: NOON_S)
    assert store.history(PIECE) == tuple(
        one
        for k in range(7)
        for one in observe_transitions(ended(clean=k % 2 == 0).judgement, NOON_S + k)
    )
    seen = store.repetitions(PIECE)
    assert [one.at_s - NOON_S for one in seen] == [6, 5, 4, 3, 2, 1, 0]
    assert [store.take(one.id) for one in seen] == [ended(clean=one.clean).take for one in seen]
    assert store.session_state(PIECE) == {"clean_run": 6}
    assert [(one.repetitions, one.clean) for one in store.pieces()] == [(7, 4), (1, 1)]
    [said] = store.notices
    backup = tmp_path / f"record-before-version-{VERSION}-2023-11-14-221320.sqlite3"
    assert str(backup) in said
    store.close()
    assert select(backup, "SELECT * FROM note ORDER BY repetition_id, n") == before
    assert not is_older(tmp_path / FILE)
    assert {path.name for path in tmp_path.iterdir()} == {FILE, backup.name}
    again = Store(tmp_path)
    assert again.notices == []
    again.close()


BAD = {
    "UPDATE observation SET outcome = 'xlean' WHERE repetition_id = 3 AND n = 1": (7, -1, 1),
    "UPDATE observation SET to_quarters = '1/0' WHERE repetition_id = 3 AND n = 1": (7, -1, 1),
    "UPDATE observation SET to_quarters = '1e99999999' WHERE n = 1": (7, -7, 8),
    "UPDATE observation SET hand = x'ff' WHERE repetition_id = 3 AND n = 2": (7, -1, 1),
    "UPDATE observation SET error_ms = 9e999 WHERE repetition_id = 3 AND n = 2": (7, -1, 1),
    "UPDATE note SET pitch = 'C' WHERE repetition_id = 3 AND n = 2": (7, 0, 1),
    "UPDATE note SET label = 'fine' WHERE repetition_id = 3 AND n = 2": (7, 0, 1),
    "UPDATE pedal SET at_s = 'now' WHERE repetition_id = 3": (7, 0, 1),
    "UPDATE repetition SET hands = 'feet' WHERE id = 3": (6, -MOVES, 1),
    "UPDATE repetition SET at_s = 'noon' WHERE id = 3": (6, -MOVES, 1),
    "UPDATE repetition SET at_s = -9e999 WHERE id = 3": (6, -MOVES, 1),
    "UPDATE repetition SET faults = '{' WHERE id = 3": (6, -MOVES, 1),
    "UPDATE repetition SET sentence = x'ff' WHERE id = 3": (6, -MOVES, 1),
    "UPDATE repetition SET start_quarters = 'start' WHERE id = 3": (6, -MOVES, 1),
}  # fmt: skip
"""What is done to it: repetitions left, moves fewer, rows set aside."""


@pytest.mark.parametrize("bad", BAD)
def test_a_bad_row_of_an_older_record_is_set_aside_and_the_rest_comes_along(
    tmp_path: Path, bad: str
) -> None:
    change(old_record(tmp_path), bad)
    left, fewer, aside = BAD[bad]
    store = Store(tmp_path)
    assert len(store.repetitions(PIECE)) == left
    assert len(store.history(PIECE)) == 7 * MOVES + fewer
    store.close()
    kept = select(tmp_path / FILE, "SELECT entry FROM set_aside")
    assert len(kept) == aside
    assert all(isinstance(json.loads(str(entry)), dict) for (entry,) in kept)


def test_a_bad_place_or_title_of_an_older_record_is_set_aside(tmp_path: Path) -> None:
    change(old_record(tmp_path), "UPDATE piece SET state = '{', title = x'ff' WHERE id = 1")
    store = Store(tmp_path)
    assert store.session_state(PIECE) is None
    assert len(store.history(PIECE)) == 7 * MOVES
    assert [seen.piece.title for seen in store.pieces()] == ["Untitled", "Another Piece"]
    store.close()


KILLED = """
import os, sys
from pathlib import Path
from coach.record import schema
from coach.record.store import Store
schema.STEP = 10
left = int(sys.argv[2])
def say(text):
    global left
    left -= 1
    if left < 0:
        os._exit(9)
Store(Path(sys.argv[1]), say=say)
os._exit(0)
"""


@pytest.mark.parametrize("after", every(2, range(6)))
def test_ended_in_the_middle_it_goes_on_the_next_time(tmp_path: Path, after: int) -> None:
    old_record(tmp_path, repetitions=28)
    home = Path(__file__).parent.parent
    program = [sys.executable, "-c", KILLED, str(tmp_path), str(after)]
    done = subprocess.run(program, cwd=home, check=False)
    assert done.returncode == (9 if after < 5 else 0)  # a copy, three steps, and making it small
    store = Store(tmp_path)
    assert len(store.history(PIECE)) == 28 * MOVES
    assert [store.take(one.id) for one in store.repetitions(OTHER)] == [ended().take]
    store.close()
    assert select(tmp_path / FILE, "PRAGMA integrity_check") == [("ok",)]
    assert not list(tmp_path.glob("*.part*"))


OPENS_EACH = """
import os, signal, sys
from pathlib import Path
from coach.record import schema
from coach.record.store import Store

schema.STEP = 2
signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nothing stays of those that have ended
for folder in sys.stdin:
    if not os.fork():
        print(os.getpid(), flush=True)
        Store(Path(folder.strip())).close()
        os._exit(0)
"""
"""Opens the record of each folder that it reads, in a process of its own that it names."""


def is_gone(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    return False


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system has no fork")
def test_killed_at_any_moment_nothing_is_lost(tmp_path: Path) -> None:
    whole = tmp_path / "whole"
    whole.mkdir()
    old_record(whole, repetitions=60)
    with subprocess.Popen(
        [sys.executable, "-c", OPENS_EACH],
        cwd=Path(__file__).parent.parent,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as opener:
        assert opener.stdin
        assert opener.stdout
        for n in range(8):
            folder = tmp_path / str(n)
            shutil.copytree(whole, folder)
            for k in range(3):
                print(folder, file=opener.stdin, flush=True)
                pid = int(opener.stdout.readline())
                time.sleep(0.004 * (n + k))
                with suppress(ProcessLookupError):  # it was done before
                    os.kill(pid, signal.SIGKILL)
                wait_for(partial(is_gone, pid))
            store = Store(folder)
            assert len(store.history(PIECE)) == 60 * MOVES
            store.close()


def test_two_programs_bring_it_up_to_date_together(tmp_path: Path) -> None:
    old_record(tmp_path, repetitions=60)
    program = (
        "import sys; from pathlib import Path; from coach.record import schema;"
        "from coach.record.store import Store; schema.STEP = 2;"
        "Store(Path(sys.argv[1])).close()"
    )
    home = Path(__file__).parent.parent
    children = [
        subprocess.Popen([sys.executable, "-c", program, str(tmp_path)], cwd=home) for _ in range(3)
    ]
    assert [child.wait(60) for child in children] == [0, 0, 0]
    store = Store(tmp_path)
    assert len(store.history(PIECE)) == 60 * MOVES
    store.close()


def test_without_room_for_a_copy_it_is_left_as_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = old_record(tmp_path)
    before = select(old, "SELECT * FROM observation")
    with monkeypatch.context() as patch:
        usage = shutil.disk_usage(tmp_path)._replace(free=1000)
        patch.setattr("shutil.disk_usage", lambda _: usage)
        with pytest.raises(RecordError, match="free some space"):
            Store(tmp_path)
    assert select(old, "SELECT * FROM observation") == before
    assert [path.name for path in tmp_path.iterdir()] == [FILE]


def test_what_an_older_keyhole_left_beside_the_record_joins_it(tmp_path: Path) -> None:
    Store(tmp_path).close()
    old = tmp_path / "unsaved-1.sqlite3"
    make_old_record(old)
    with closing(sqlite3.connect(old)) as db, db:
        add_old(db, PIECE, ended(), NOON_S)
    store = Store(tmp_path)
    assert len(store.history(PIECE)) == MOVES
    assert not old.exists()
    assert store.notices == []
    store.close()


def test_a_damaged_older_record_is_rescued(tmp_path: Path) -> None:
    file = old_record(tmp_path, repetitions=40)
    whole = bytearray(file.read_bytes())
    root = select(file, "SELECT rootpage FROM sqlite_master WHERE name = 'pedal'")[0][0]
    assert isinstance(root, int)
    whole[(root - 1) * 4096 : root * 4096] = b"\xa5" * 4096
    file.write_bytes(whole)
    store = Store(tmp_path)
    assert len(store.history(PIECE)) == 40 * MOVES
    assert any("41 repetitions" in said for said in store.notices)
    store.close()


def test_a_command_with_a_screen_brings_it_up_to_date_first(tmp_path: Path) -> None:
    old_record(tmp_path)
    storage = Storage(Namespace(data=tmp_path, counting=None))
    storage.bring_up_to_date()
    assert not is_older(tmp_path / FILE)
    assert any("brought up to date" in said for said in storage.notices())
    assert storage.store
    close_record(storage.store)


def test_a_record_of_version_4_is_copied_and_gets_the_tables_of_days(tmp_path: Path) -> None:
    store = Store(tmp_path)
    store.save_repetition(PIECE, ended(clean=False), 1_700_000_000.0)
    store.close()
    drop = [f"DROP TABLE {table}" for table in ("weak_spots", "bars", "plan")]
    change(tmp_path / FILE, *drop, "PRAGMA user_version = 4")
    store = Store(tmp_path)
    assert len(store.history(PIECE)) == MOVES
    assert len(store.weak_spots(PIECE)) == 1
    assert store.plan(PIECE) is None
    [said] = store.notices
    assert "was brought up to date" in said
    store.close()
    [backup] = tmp_path.glob("record-before-version-5-*.sqlite3")
    assert select(backup, "PRAGMA user_version") == [(4,)]
    assert select(tmp_path / FILE, "PRAGMA user_version") == [(VERSION,)]
