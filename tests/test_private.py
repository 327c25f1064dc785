"""What is kept of somebody's practice is theirs alone: folders 0700, files 0600."""

import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path

import pytest

from coach.cli.errors import say_errors_plainly
from coach.record.folder import RecordError, data_folder
from coach.record.pieces import piece_key
from coach.record.settings import StoredSettings, save_settings
from coach.record.store import FILE, Store
from scripts.old_record import add_old, make_old_record
from tests.records import SCORE, ended

ROOT = Path(__file__).parent.parent
SAMPLE = ROOT / "sample_scores/1-low-tide.musicxml"
PIECE = piece_key(SCORE)

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="modes mean nothing there")


@pytest.fixture(autouse=True)
def lavish(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A system that lets everybody read and write what is made."""
    before = os.umask(0)
    yield
    os.umask(before)


def open_to_others(folder: Path) -> list[str]:
    """What in the folder, and it too, others may do anything with."""
    every = [folder, *folder.rglob("*")]
    return [str(one) for one in every if one.stat().st_mode & 0o077]


def test_the_record_and_all_that_is_beside_it_while_it_is_open(tmp_path: Path) -> None:
    folder = data_folder(tmp_path / "above" / "data")
    store = Store(folder)
    store.save_repetition(PIECE, ended(), 1.0)
    assert {path.name for path in folder.iterdir()} == {FILE, f"{FILE}-wal", f"{FILE}-shm"}
    assert open_to_others(tmp_path / "above") == []
    store.close()


def test_settings_hand_moves_and_the_cache(tmp_path: Path) -> None:
    data = tmp_path / "data"
    command = [sys.executable, "-m", "coach", "score", str(SAMPLE), "--data", str(data)]
    subprocess.run(
        [*command, "--move", "bar 1 beat 1 C4 to lh"], cwd=ROOT, capture_output=True, check=False
    )
    save_settings(data_folder(data), StoredSettings(click_offset_ms=3.0))
    assert {path.name for path in data.iterdir()} >= {"cache", "settings.json"}
    assert open_to_others(data) == []


def test_what_tells_of_a_mistake(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with say_errors_plainly(tmp_path / "data"):
        raise ZeroDivisionError
    assert list((tmp_path / "data").glob("mistake-*.txt"))
    assert open_to_others(tmp_path / "data") == []


def test_the_copy_of_an_older_record_and_a_damaged_one(tmp_path: Path) -> None:
    for name in ("old", "damaged"):
        (tmp_path / name).mkdir()
    make_old_record(tmp_path / "old" / FILE)
    with closing(sqlite3.connect(tmp_path / "old" / FILE)) as db, db:
        add_old(db, PIECE, ended(), 1.0)
    (tmp_path / "damaged" / FILE).write_bytes(b"nothing" * 1000)
    for name in ("old", "damaged"):
        folder = data_folder(tmp_path / name)
        Store(folder).close()
        assert len(list(folder.iterdir())) == 2
        assert open_to_others(folder) == []


def test_what_can_not_be_saved_as_usual(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("coach.record.store.OPEN_WAIT_S", 0.05)
    folder = data_folder(tmp_path / "data")
    store = Store(folder)
    with closing(sqlite3.connect(folder / FILE, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(RecordError):
            store.save_repetition(PIECE, ended(), 1.0)
        store.close()
    assert list(folder.glob("unsaved-*.sqlite3"))
    assert open_to_others(folder) == []


def test_what_an_older_keyhole_left_open_is_closed(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    folder.mkdir()
    Store(folder).close()
    (folder / "settings.json").write_text("{}")
    (folder / "mistake-2020.txt").write_text("")
    for path in (folder, *folder.iterdir()):
        path.chmod(0o777)
    data_folder(folder)
    assert open_to_others(folder) == []


def test_a_folder_that_holds_other_things_stays_open_and_ours_in_it_is_closed(
    tmp_path: Path,
) -> None:
    folder = tmp_path / "shared"
    folder.mkdir()
    (folder / "letter.txt").write_text("Dear teacher")
    Store(data_folder(folder)).close()
    assert open_to_others(folder) == [str(folder), str(folder / "letter.txt")]
    shutil.rmtree(folder)


@pytest.mark.parametrize("name", ["recipes.sqlite3", FILE, "record-of-cakes.sqlite3"])
def test_another_programs_file_and_its_folder_keep_their_rights(tmp_path: Path, name: str) -> None:
    folder = tmp_path / "shared"
    folder.mkdir()
    with closing(sqlite3.connect(folder / name)) as db, db:
        db.execute("CREATE TABLE recipes (cake TEXT)")
    (folder / name).chmod(0o664)
    with suppress(RecordError):
        Store(data_folder(folder)).close()
    assert (folder / name).stat().st_mode & 0o777 == 0o664
    assert folder.stat().st_mode & 0o777 == 0o777
