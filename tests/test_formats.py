"""Each format of score files is one row: its names, how it is known, and its reader."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path

import pytest

from coach.score.formats import FORMATS, SUFFIXES, FileKind, ScoreError, recognise_format
from coach.score.reading import read_score


@pytest.mark.parametrize("kind", FileKind, ids=lambda kind: kind.name)
def test_a_format_has_a_row_and_a_reader(kind: FileKind) -> None:
    module, name = FORMATS[kind].reader.split(":")
    assert callable(getattr(import_module(module), name))


def test_no_two_formats_share_the_end_of_a_name() -> None:
    assert len(set(SUFFIXES)) == len(SUFFIXES)
    assert all(suffix.startswith(".") for suffix in SUFFIXES)


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (b"MThd\x00\x00\x00\x06", FileKind.MIDI),
        (b"RIFF____RMID", FileKind.MIDI),
        (b"RIFF____WAVE", None),
        (b"<?xml version='1.0'?><score-timewise>", FileKind.MUSICXML),
        (b"<mei xmlns='http://www.music-encoding.org/ns/mei'>", FileKind.MEI),
        (b"!! a comment\n**kern\t**kern\n", FileKind.KERN),
        (b"X: 1\nT: A tune\nK: C\nCDEF|", FileKind.ABC),
        (b"X: 1\nT: no key\n", None),
        (b"Dear Sir,", None),
    ],
)
def test_the_content_tells_the_format(data: bytes, kind: FileKind | None) -> None:
    assert recognise_format(data) is kind


def test_what_is_no_score_is_answered_with_every_format_that_is(tmp_path: Path) -> None:
    letter = tmp_path / "letter.mid"
    letter.write_bytes(b"Dear Sir,")
    with pytest.raises(ScoreError) as refused:
        read_score(letter)
    assert all(suffix in str(refused.value) for suffix in SUFFIXES)
    assert all(kind.value in str(refused.value) for kind in FileKind)
