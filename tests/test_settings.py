"""Settings survive closing and opening; what is wrong with them is said, and nothing is lost."""

import json
import os
from pathlib import Path

import pytest

from coach.record.folder import RecordError
from coach.record.settings import FILE, StoredSettings, load_settings, save_settings
from coach.score.counting import CountingSystem

SET = StoredSettings(click_offset_ms=-23.5, counting="eastman")


def test_what_is_set_is_there_the_next_time(tmp_path: Path) -> None:
    save_settings(tmp_path, SET)
    assert load_settings(tmp_path) == (SET, "")


def test_without_a_file_nothing_is_set_and_nothing_is_said(tmp_path: Path) -> None:
    assert load_settings(tmp_path) == (StoredSettings(), "")
    assert load_settings(tmp_path / "gone") == (StoredSettings(), "")


@pytest.mark.parametrize("text", [b"", b"{", b"[1]", b"\xff\xfe{}", b'{"click_offset_ms": 3'])
def test_a_damaged_file_is_kept_beside_and_said(tmp_path: Path, text: bytes) -> None:
    (tmp_path / FILE).write_bytes(text)
    kept, said = load_settings(tmp_path)
    assert kept == StoredSettings()
    [aside] = tmp_path.glob("settings-damaged-*.json")
    assert aside.read_bytes() == text
    assert str(aside) in said
    assert "coach calibrate" in said
    assert "--counting" in said
    assert load_settings(tmp_path) == (StoredSettings(), "")  # said once


@pytest.mark.parametrize("offset", ['"late"', "true", "NaN", "null", "1e999"])
def test_what_is_good_in_a_damaged_file_still_holds(tmp_path: Path, offset: str) -> None:
    (tmp_path / FILE).write_text(f'{{"click_offset_ms": {offset}, "counting": "takadimi"}}')
    kept, said = load_settings(tmp_path)
    assert kept == StoredSettings(counting="takadimi")
    assert "coach calibrate" in said
    assert "--counting" not in said
    assert load_settings(tmp_path) == (kept, "")


@pytest.mark.parametrize("counting", ['"aloud"', "3", '["eastman"]', "{}"])
def test_a_counting_system_that_is_none_leaves_the_calibration_alone(
    tmp_path: Path, counting: str
) -> None:
    (tmp_path / FILE).write_text(f'{{"click_offset_ms": 31, "counting": {counting}}}')
    kept, said = load_settings(tmp_path)
    assert kept == StoredSettings(click_offset_ms=31)
    assert CountingSystem(kept.counting)
    assert "--counting" in said
    assert "calibrate" not in said


def test_entries_of_a_newer_keyhole_stay(tmp_path: Path) -> None:
    (tmp_path / FILE).write_text('{"colours": "few", "counting": "eastman"}')
    assert load_settings(tmp_path) == (StoredSettings(counting="eastman"), "")
    save_settings(tmp_path, SET)
    found = json.loads((tmp_path / FILE).read_text())
    expected = {"colours": "few", "click_offset_ms": -23.5, "counting": "eastman"}
    expected |= {"piano_keys": 88, "port": "", "click": {}, "commands": {}, "warm_up_min": 0.0}
    assert found == expected


def test_a_file_that_cannot_be_read_is_said_and_left_alone(tmp_path: Path) -> None:
    (tmp_path / FILE).mkdir()
    kept, said = load_settings(tmp_path)
    assert kept == StoredSettings()
    assert str(tmp_path / FILE) in said
    assert "can't be read" in said
    with pytest.raises(RecordError):
        save_settings(tmp_path, SET)
    assert (tmp_path / FILE).is_dir()


def test_a_damaged_file_that_cannot_be_moved_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / FILE).write_text("{")

    def refused(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "rename", refused)
    kept, said = load_settings(tmp_path)
    assert kept == StoredSettings()
    assert said.startswith(f"The settings ({tmp_path / FILE}) are damaged: delete that file")
    assert (tmp_path / FILE).read_text() == "{"


def test_a_folder_that_is_gone_is_said_in_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="--data"):
        save_settings(tmp_path / "gone", StoredSettings())


def test_a_disk_that_is_full_leaves_the_settings_as_they_were(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    save_settings(tmp_path, SET)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(RecordError, match="No space left"):
        save_settings(tmp_path, StoredSettings())
    assert load_settings(tmp_path)[0] == SET
