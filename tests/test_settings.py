"""Settings survive closing and opening, and a damaged file is only a loss of settings."""

import pytest

from coach.record.errors import RecordError
from coach.record.settings import FILE, Kept, load_settings, save_settings


def test_what_is_set_is_there_the_next_time(tmp_path):
    kept = Kept(click_offset_ms=-23.5, counting="eastman")
    save_settings(tmp_path, kept)
    assert load_settings(tmp_path) == kept


@pytest.mark.parametrize("text", ["", "{", "[1]", '{"click_offset_ms": "late"}'])
def test_a_damaged_file_means_the_defaults(tmp_path, text):
    (tmp_path / FILE).write_text(text)
    assert load_settings(tmp_path) == Kept()


def test_a_folder_that_is_gone_is_said_in_a_sentence(tmp_path):
    with pytest.raises(RecordError, match="--data"):
        save_settings(tmp_path / "gone", Kept())
