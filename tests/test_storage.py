"""Record and settings as commands open and close them: nothing is lost, all is said once."""

import sqlite3
from argparse import Namespace
from contextlib import closing, suppress
from fractions import Fraction
from pathlib import Path

import pytest

from coach.cli.score_library import HomeLibrary
from coach.cli.sessions import SessionMaker
from coach.cli.storage import Storage, close_record
from coach.coaching.model import Goal
from coach.drill import Drill
from coach.judging.timing import Habits
from coach.record.folder import RecordError
from coach.record.pieces import piece_key
from coach.record.settings import FILE as SETTINGS
from coach.record.settings import StoredSettings, save_settings
from coach.record.store import FILE, Store
from coach.score.model import Hand
from coach.score.window import Window
from coach.screens.interfaces import Errand
from tests.records import SCORE, ended, foreign


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


def options(folder: Path, counting: str | None = None) -> Namespace:
    return Namespace(data=folder, counting=counting)


def test_damaged_settings_are_said_once_beside_what_the_record_says(tmp_path: Path) -> None:
    (tmp_path / SETTINGS).write_text("{")
    storage = Storage(options(tmp_path))
    assert storage.settings == StoredSettings()
    [said] = storage.notices()
    assert said.startswith("The settings were damaged")
    assert storage.notices() == ()
    assert storage.store
    storage.store.close()


def test_settings_that_nobody_asked_for_yet_are_looked_at_too(tmp_path: Path) -> None:
    (tmp_path / SETTINGS).write_text("{")
    storage = Storage(options(tmp_path))
    assert len(storage.notices()) == 1
    assert storage.store
    storage.store.close()


def test_a_counting_system_that_cannot_be_kept_holds_and_so_does_the_calibration(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    save_settings(tmp_path, StoredSettings(click_offset_ms=40.0))

    def full(*_: object) -> None:
        raise RecordError("The settings can't be kept.")

    monkeypatch.setattr("coach.cli.storage.save_settings", full)
    storage = Storage(options(tmp_path, "takadimi"))
    assert storage.settings == StoredSettings(click_offset_ms=40.0, counting="takadimi")
    assert storage.notices() == ("The settings can't be kept.",)
    assert storage.store
    storage.store.close()


def test_a_warm_up_from_a_file_that_became_another_programs_is_refused_in_a_sentence(
    tmp_path: Path,
) -> None:
    storage = Storage(options(tmp_path))
    assert storage.store
    storage.store.close()
    (tmp_path / FILE).unlink()
    foreign(tmp_path / FILE)
    maker = SessionMaker(storage.store, storage.lease)
    with pytest.raises(ValueError, match=r"another program's .* --data"):
        maker.make(SCORE, tmp_path / "two-hands.musicxml", Errand.WARM_UP, 0.0)
    storage.store.close()


def test_a_folder_that_cannot_be_used_is_said_and_all_is_kept_until_it_can(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    folder.write_text("in the way")
    storage = Storage(options(folder))
    assert HomeLibrary(storage).items()  # the sample scores
    [said] = storage.notices()
    assert said.startswith(f"The folder {folder} can't be written to")
    assert said.endswith("Till then all is kept in memory.")
    assert storage.store
    maker = SessionMaker(storage.store, storage.lease)
    session = maker.make(SCORE, tmp_path / "two-hands.musicxml", Errand.GO_ON, 0.0)
    assert session.save() == "The record can't be written to. Till then all is kept in memory."
    assert session.keep(ended()) == session.save()
    folder.unlink()
    assert session.save() == ""
    assert len(storage.store.repetitions(piece_key(SCORE))) == 1
    session.leave()
    storage.store.close()


def test_the_player_s_own_way_with_a_piece_is_known_whatever_the_next_goal_is(
    tmp_path: Path,
) -> None:
    storage = Storage(options(tmp_path))
    assert storage.store
    maker = SessionMaker(storage.store, storage.lease)
    session = maker.make(SCORE, tmp_path / "two-hands.musicxml", Errand.GO_ON, 0.0)
    assert isinstance(session.drill, Drill)
    place = Fraction(2), Hand.RIGHT
    session.drill._ear.habits = Habits(errors_ms={place: (80.0, 82.0)})
    session.save()
    session.leave()
    first_bar = Goal(Window(Fraction(0), Fraction(4)), 90.0)
    again = maker.make(SCORE, tmp_path / "two-hands.musicxml", Errand.DRILL, 0.0, first_bar)
    assert isinstance(again.drill, Drill)
    assert again.drill.habits.errors_ms == {place: (80.0, 82.0)}
    storage.store.close()
