"""Bad input at the command line: one clear sentence, a non-zero exit, no traceback."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.breadth import every

ROOT = Path(__file__).parent.parent.parent
SAMPLE = str(ROOT / "sample_scores/1-low-tide.musicxml")
FLUTE = """<?xml version="1.0"?>
<score-partwise version="4.0"><part-list/></score-partwise>"""


def coach(*arguments: str, env: dict[str, str] | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "coach", *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        cwd=ROOT,
        env={**os.environ, **(env or {})},
        stdin=subprocess.DEVNULL,
        timeout=60,
        check=False,
    )


def refused(done: subprocess.CompletedProcess[str]) -> str:
    """The one sentence that a refused command prints."""
    said = done.stdout + done.stderr
    assert done.returncode != 0, said
    assert "Traceback" not in said
    [sentence] = said.strip().splitlines()
    assert sentence.endswith((".", "!")), sentence
    return sentence


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "empty.musicxml").write_text("")
    (tmp_path / "noise.mxl").write_bytes(bytes(range(256)) * 8)
    (tmp_path / "nothing.musicxml").write_text(FLUTE)
    (tmp_path / "letter.docx").write_text("Dear teacher")
    return tmp_path


@pytest.mark.parametrize("command", every(2, ["drill", "score", "demo"]))
@pytest.mark.parametrize(
    "name", ["missing.musicxml", "empty.musicxml", "noise.mxl", "nothing.musicxml", "letter.docx"]
)
def test_a_score_that_does_not_open_is_named(folder: Path, command: str, name: str) -> None:
    done = coach(command, str(folder / name), "--data", str(folder / "data"))
    assert name in refused(done)


def test_a_take_that_is_none_is_named(folder: Path) -> None:
    done = coach("judge", SAMPLE, str(folder / "noise.mxl"), "--data", str(folder / "data"))
    assert "noise.mxl" in refused(done)


@pytest.mark.parametrize(
    ("options", "says"),
    {
        ("--bars", "9"): "bars 1 to 8",
        ("--bars", "6-2"): "ends before it begins",
        ("--beats", "7"): "no beat 7",
        ("--hand", "foot"): "rh, lh or both",
    }.items(),
)
def test_a_window_outside_the_piece_is_explained(
    folder: Path, options: tuple[str, str], says: str
) -> None:
    assert says in refused(coach("drill", SAMPLE, *options, "--data", str(folder / "data")))


def test_without_the_alsa_library_it_says_what_to_install(folder: Path) -> None:
    """As python-rtmidi's wheel fails on a Linux without libasound."""
    (folder / "rtmidi.py").write_text(
        "raise ImportError('libasound.so.2: cannot open shared object file: No such file')"
    )
    said = refused(coach("ports", env={"PYTHONPATH": str(folder)}))
    assert "libasound2" in said
