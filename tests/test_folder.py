"""Where the record lies."""

from pathlib import Path

import pytest

from coach.record.folder import VARIABLE, RecordError, cache_folder, data_folder


def test_an_option_goes_before_the_variable_and_that_before_the_platforms_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked, named = tmp_path / "asked" / "deep", tmp_path / "named"
    assert data_folder(asked, {VARIABLE: str(named)}) == asked
    assert data_folder(None, {VARIABLE: str(named)}) == named
    assert cache_folder(None, {VARIABLE: str(named)}) == named / "cache"
    assert asked.is_dir()
    monkeypatch.setattr("platformdirs.user_data_path", lambda *_: tmp_path / "own")
    monkeypatch.setattr("platformdirs.user_cache_path", lambda *_: tmp_path / "own cache")
    assert data_folder(None, {}) == tmp_path / "own"
    assert cache_folder(None, {}) == tmp_path / "own cache"


def test_a_folder_that_cannot_be_written_to_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    for impossible in (tmp_path / "file", tmp_path / "file" / "below", Path("/proc/keyhole")):
        with pytest.raises(RecordError, match=r"can't be written to .* --data FOLDER"):
            data_folder(impossible, {})
