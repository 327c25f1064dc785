"""Closing the record when the program ends: nothing is lost, and no traceback."""

import sqlite3
from contextlib import closing, suppress
from pathlib import Path

import pytest
from records import SCORE, ended

from coach.cli.keeping import close_record
from coach.record.errors import RecordError
from coach.record.piece import piece_key
from coach.record.store import FILE, Store


def test_what_another_program_kept_out_of_the_record_is_kept_beside_it_and_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coach.record.store.OPEN_WAIT_S", 0.05)
    store = Store(tmp_path)
    with closing(sqlite3.connect(tmp_path / FILE, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with suppress(RecordError):
            store.save_repetition(piece_key(SCORE), ended(), 1.0)
        close_record(store)
    said = capsys.readouterr().err
    assert "Another program holds the practice record" in said
    assert str(next(tmp_path.glob("unsaved-*.sqlite3"))) in said


def test_a_folder_that_vanished_is_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    store = Store(tmp_path)

    def gone() -> None:
        raise RecordError("The folder is gone.")

    monkeypatch.setattr(store, "close", gone)
    close_record(store)
    assert capsys.readouterr().err == "coach: The folder is gone.\n"
