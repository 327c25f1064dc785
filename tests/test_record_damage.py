"""A record that is not as it was written: what is bad is set aside and said, all else goes on."""

import json
import os
import random
import shutil
import sqlite3
import time
from argparse import Namespace
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from coach.cli.commands.practice import warmup
from coach.cli.score_library import HomeLibrary
from coach.cli.sessions import SessionMaker
from coach.cli.storage import Storage, close_record
from coach.coaching.observations import observe_transitions
from coach.record.folder import APPLICATION_ID, RecordError
from coach.record.pieces import PieceKey, piece_key
from coach.record.store import FILE, Store
from coach.screens.interfaces import Errand
from tests.breadth import every
from tests.records import SCORE, ended, foreign, select

PIECE = piece_key(SCORE, "two_hands.musicxml")
OTHER = PieceKey("other", "Another Piece")
NOON_S = 1_700_000_000.0
MOVES = len(observe_transitions(ended().judgement, 0.0))
GARBAGE = (
    "xlean",
    b"\xff\x00",
    "",
    "-1/0",
    -3,
    2**62,
    1e308,
    float("inf"),
    "2023-11-14",
    "{",
    "[]",
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A record of five repetitions of one piece and two of another."""
    store = Store(tmp_path, lambda: NOON_S)
    for k in range(5):
        store.save_repetition(PIECE, ended(clean=k % 2 == 0), NOON_S + k, {"clean_run": k})
    for k in range(2):
        store.save_repetition(OTHER, ended(), NOON_S - 100 + k)
    store.close()
    return tmp_path


def change(folder: Path, query: str, *values: object) -> None:
    with closing(sqlite3.connect(folder / FILE)) as db, db:
        db.execute(query, values)


@pytest.mark.parametrize(
    "column",
    ["at_s", "start_quarters", "end_quarters", "hands", "clean", "moves", "take", "words",
     "checksum"],
)  # fmt: skip
@pytest.mark.parametrize("value", every(2, GARBAGE))
def test_a_repetition_that_cannot_be_read_is_set_aside_and_the_rest_is_there(
    folder: Path, column: str, value: object
) -> None:
    change(folder, f"UPDATE repetition SET {column} = ? WHERE id = 3", value)
    store = Store(folder)
    assert len(store.history(PIECE)) == 4 * MOVES
    assert [one.id for one in store.repetitions(PIECE)] == [5, 4, 2, 1]
    assert len(store.history(OTHER)) == 2 * MOVES
    assert [(one.repetitions, one.clean) for one in store.pieces()] == [(4, 2), (2, 2)]
    [said] = store.notices
    assert "1 repetition was damaged: it is set aside" in said
    store.close()
    [(entry,)] = select(folder / FILE, "SELECT entry FROM set_aside")
    assert isinstance(entry, str)
    kept = json.loads(entry)
    assert kept["id"] == 3
    assert len(kept) == 12
    again = Store(folder)
    assert len(again.history(PIECE)) == 4 * MOVES
    assert again.notices == []
    again.close()


@pytest.mark.parametrize("column", ["title", "path", "used_at_s", "key"])
@pytest.mark.parametrize("value", [b"\xff", "x\0y", -5.0, float("inf"), "noon", "x" * 70_000])
def test_a_pieces_entry_is_made_good_and_its_repetitions_stay(
    folder: Path, column: str, value: object
) -> None:
    change(folder, f"UPDATE piece SET {column} = CAST(? AS BLOB) WHERE id = 1", value)
    store = Store(folder)
    assert {seen.repetitions for seen in store.pieces()} == {5, 2}
    if column != "key":
        assert len(store.history(PIECE)) == 5 * MOVES
    [said] = store.notices
    assert "the entry of 1 piece was damaged" in said
    store.notices.clear()
    assert {seen.repetitions for seen in store.pieces()} == {5, 2}
    assert store.notices == []
    store.close()
    assert len(select(folder / FILE, "SELECT entry FROM set_aside")) == 1


@pytest.mark.parametrize(
    "state", ["{", "[]", "null", b"\xff\xfe", '{"clean_run": 9}', 7, "[" * 9999]
)
def test_a_place_in_a_piece_that_cannot_be_read_is_begun_anew(folder: Path, state: object) -> None:
    change(folder, "UPDATE piece SET state = ? WHERE id = 1", state)
    store = Store(folder)
    assert store.session_state(PIECE) is None
    assert "the entry of 1 piece" in store.notices[0]
    assert len(store.history(PIECE)) == 5 * MOVES
    store.save_session_state(PIECE, {"clean_run": 1})
    assert store.session_state(PIECE) == {"clean_run": 1}
    store.close()
    assert len(select(folder / FILE, "SELECT entry FROM set_aside")) == 1


def test_several_bad_rows_are_one_sentence(folder: Path) -> None:
    change(folder, "UPDATE repetition SET hands = 'foot'")
    change(folder, "UPDATE piece SET title = x'ff', state = '{'")
    store = Store(folder)
    store.pieces()
    assert store.history(PIECE) == store.history(OTHER) == ()
    assert store.session_state(PIECE) is None
    [said] = store.notices
    assert "7 repetitions and the entries of 2 pieces were damaged" in said
    store.close()


def test_bad_rows_of_a_record_that_cannot_be_written_are_passed_over_and_said_once(
    folder: Path,
) -> None:
    change(folder, "UPDATE repetition SET hands = 'foot' WHERE id = 3")
    store = Store(folder)
    with closing(sqlite3.connect(folder / FILE, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        for _ in range(2):
            assert len(store.history(PIECE)) == 4 * MOVES
    assert len(store.notices) == 1
    store.close()
    assert select(folder / FILE, "SELECT count(*) FROM repetition") == [(7,)]


def test_a_piece_whose_folder_may_not_be_looked_into_is_no_mistake(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    look = os.stat

    def refused(path: str, **how: Any) -> os.stat_result:
        if "two_hands" in str(path):
            raise PermissionError(13, "Permission denied")
        return look(path, **how)

    storage = Storage(options(folder))
    library = HomeLibrary(storage)
    with monkeypatch.context() as patch:
        patch.setattr("os.stat", refused)
        patch.setattr("coach.cli.score_library.samples", tuple)
        told = [item.detail for item in library.items()]
    assert storage.store
    close_record(storage.store)
    assert "its file is gone" in told[0]


def options(folder: Path) -> Namespace:
    return Namespace(data=folder, counting=None, list=True, minutes=5.0)


@pytest.mark.parametrize(
    "broken",
    ["UPDATE repetition SET words = 'x', moves = 'y', at_s = 'noon', hands = 7",
     "UPDATE piece SET title = x'ff', path = 3.5, used_at_s = 'noon', state = '{'",
     "UPDATE piece SET checksum = 1, state = '{\"format\": 1}'"],
)  # fmt: skip
def test_home_drill_and_warm_up_open_with_bad_rows(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], broken: str
) -> None:
    change(folder, broken)
    storage = Storage(options(folder))
    assert HomeLibrary(storage).items()
    maker = SessionMaker(storage.store, storage.lease)
    session = maker.make(SCORE, tmp_path / "two-hands.musicxml", Errand.GO_ON, 0.0)
    assert session.save() == session.keep(ended()) == ""
    session.leave()
    storage.notices()
    assert warmup(options(folder)) == 0
    assert storage.store
    close_record(storage.store)
    assert "Traceback" not in capsys.readouterr().err


def test_a_warm_up_without_a_screen_says_what_was_set_aside(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    change(folder, "UPDATE piece SET used_at_s = ?", time.time())
    change(folder, "UPDATE repetition SET moves = 'y'")
    warmup(options(folder))
    said = capsys.readouterr().err
    assert said.count("set aside") == 1


# -- another program's file -----------------------------------------------------------------------


@pytest.mark.parametrize("wal", [True, False])
@pytest.mark.parametrize(("application_id", "version"), [(0, 0), (0, 2), (0, 99), (7, 0), (7, 4)])
def test_another_programs_file_is_named_and_not_touched(
    tmp_path: Path, application_id: int, version: int, wal: bool
) -> None:
    foreign(tmp_path / FILE, application_id=application_id, version=version, wal=wal)
    before = (tmp_path / FILE).read_bytes()
    (tmp_path / FILE).chmod(0o644)
    with pytest.raises(RecordError, match=r"another program's .* --data"):
        Store(tmp_path)
    assert (tmp_path / FILE).read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == [FILE]
    assert (tmp_path / FILE).stat().st_mode & 0o777 == 0o644


def test_another_program_that_is_in_its_file_keeps_its_log(tmp_path: Path) -> None:
    foreign(tmp_path / FILE)
    with closing(sqlite3.connect(tmp_path / FILE)) as other, other:
        other.execute("INSERT INTO recipes VALUES (2, 'scones')")
        other.commit()
        before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
        assert len(before) == 3
        with pytest.raises(RecordError, match="another program's"):
            Store(tmp_path)
        assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_what_was_played_beside_another_programs_file_can_be_taken_elsewhere(
    tmp_path: Path,
) -> None:
    theirs, ours = tmp_path / "theirs", tmp_path / "ours"
    for folder in (theirs, ours):
        folder.mkdir()
    foreign(theirs / FILE)
    before = (theirs / FILE).read_bytes()
    store = Store(theirs, opened=False)
    with pytest.raises(RecordError, match="another program's"):
        store.save_repetition(PIECE, ended(), NOON_S)
    store.close()
    [left] = theirs.glob("unsaved-*")
    assert f"{left}: move it to the folder that you choose" in store.notices[0]
    assert (theirs / FILE).read_bytes() == before
    left.rename(ours / left.name)
    again = Store(ours)
    assert len(again.repetitions(PIECE)) == 1
    again.close()


def test_a_record_whose_first_rows_are_still_in_its_log_is_ours(tmp_path: Path) -> None:
    folder, copy = tmp_path / "data", tmp_path / "copy"
    folder.mkdir()
    store = Store(folder)
    store.save_repetition(PIECE, ended(), NOON_S)
    shutil.copytree(folder, copy)
    store.close()
    again = Store(copy)
    assert len(again.repetitions(PIECE)) == 1
    again.close()


def test_a_record_bears_its_mark(folder: Path) -> None:
    assert select(folder / FILE, "PRAGMA application_id") == [(APPLICATION_ID,)]


# -- flipped bytes --------------------------------------------------------------------------------


def use(folder: Path) -> Iterator[int]:
    """All that the commands ask of a record; how much of each piece was there."""
    store = Store(folder, lambda: NOON_S)
    for seen in store.pieces():
        store.session_state(seen.piece)
        store.weak_spots(seen.piece)
        store.plan(seen.piece)
        store.windows_played(seen.piece)
        for one in store.repetitions(seen.piece):
            store.take(one.id)
    yield from (len(store.history(piece)) // MOVES for piece in (PIECE, OTHER))
    store.save_repetition(OTHER, ended(), NOON_S + 1000, {"clean_run": 1})
    assert len(store.repetitions(OTHER)) >= 1
    store.close()
    assert select(folder / FILE, "PRAGMA quick_check") == [("ok",)]


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The file of a record of thirty repetitions of one piece and one of another."""
    folder = tmp_path_factory.mktemp("sound")
    store = Store(folder, lambda: NOON_S)
    for k in range(30):
        store.save_repetition(PIECE, ended(clean=k % 2 == 0), NOON_S + k, {"clean_run": k})
    store.save_repetition(OTHER, ended(), NOON_S - 100)
    store.close()
    return (folder / FILE).read_bytes()


@pytest.mark.property
@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@example(1454671)  # a new row that its damaged index hides
@given(st.integers(0, 2**32 - 1))
def test_flipped_bytes_end_nothing(
    tmp_path_factory: pytest.TempPathFactory, sound: bytes, seed: int
) -> None:
    chance = random.Random(seed)
    folder = tmp_path_factory.mktemp("flipped")
    whole = bytearray(sound)
    for _ in range(chance.choice((1, 3, 20))):
        whole[chance.randrange(len(whole))] ^= 1 << chance.randrange(8)
    (folder / FILE).write_bytes(whole)
    list(use(folder))


def test_a_damaged_key_of_a_piece_is_found_again_in_its_index(folder: Path) -> None:
    whole = bytearray((folder / FILE).read_bytes())
    at = whole.rindex(PIECE.key.encode(), 4096, 8192)  # in the table, on the second page
    whole[at + 3] ^= 0x04
    (folder / FILE).write_bytes(whole)
    assert list(use(folder)) == [5, 2]


@pytest.mark.parametrize("column", ["key", "title", "path", "state"])
def test_a_text_of_a_piece_that_is_none_loses_none_of_its_repetitions(
    folder: Path, column: str
) -> None:
    change(folder, f"UPDATE piece SET {column} = CAST(x'ff41ff' AS TEXT) WHERE id = 1")
    whole = bytearray((folder / FILE).read_bytes())
    whole[28] ^= 0x55  # and the file itself is damaged
    (folder / FILE).write_bytes(whole)
    store = Store(folder)
    assert sorted(seen.repetitions for seen in store.pieces()) == [2, 5]
    assert len(store.history(PIECE)) == (0 if column == "key" else 5 * MOVES)
    store.close()


@pytest.mark.parametrize("at", [0, 16, 18, 28, 44, 56, 60, 68, 100, 103, 4096, 8192])
def test_a_damaged_head_of_the_file_loses_no_repetition(folder: Path, at: int) -> None:
    """Of a page's first bytes none holds a row: all of them can be found again."""
    whole = bytearray((folder / FILE).read_bytes())
    whole[at] ^= 0x55
    (folder / FILE).write_bytes(whole)
    assert list(use(folder)) == [5, 2]


@pytest.mark.parametrize("at", range(8, 24, 2))
def test_a_tree_hurt_at_its_root_hides_no_repetition(tmp_path: Path, at: int) -> None:
    """What the root no longer leads to still lies in the pages."""
    store = Store(tmp_path, lambda: NOON_S)
    for k in range(150):
        store.save_repetition(PIECE, ended(), NOON_S + k, {"clean_run": k})
    store.close()
    [(root, page_bytes)] = select(
        tmp_path / FILE,
        "SELECT rootpage, page_size FROM sqlite_master, pragma_page_size WHERE name = 'repetition'",
    )
    assert isinstance(root, int)
    assert isinstance(page_bytes, int)
    whole = bytearray((tmp_path / FILE).read_bytes())
    start = (root - 1) * page_bytes
    assert whole[start] == 5, "an interior page, by SQLite's file format, section 1.6"
    whole[start + at] ^= 0x75
    (tmp_path / FILE).write_bytes(whole)
    assert list(use(tmp_path)) == [150, 0]
