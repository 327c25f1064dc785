"""Streams that are shut, full or no terminal: one sentence, or none, never a mistake of ours."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from coach.cli.terminal import NO_TERMINAL

ROOT = Path(__file__).parent.parent.parent
SAMPLE = "sample_scores/1-low-tide.musicxml"

pytestmark = [
    pytest.mark.real,
    pytest.mark.skipif(sys.platform == "win32", reason="needs a POSIX shell"),
]


def shell(words: str, streams: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run ``coach`` with its streams as a shell makes them."""
    line = f'"{sys.executable}" -m coach {words} {streams}'
    return subprocess.run(
        ["sh", "-c", line], capture_output=True, text=True, encoding="utf-8", cwd=ROOT,
        timeout=60, check=False, env={"KEYHOLE_DATA": str(folder), "PATH": "/usr/bin:/bin"},
    )  # fmt: skip


@pytest.mark.parametrize("words", ["", f"drill {SAMPLE}", "demo", f"demo {SAMPLE}"])
@pytest.mark.parametrize("streams", ["</dev/null", "</dev/null | cat", "<&-", "<&- >&-"])
def test_without_a_terminal_a_screen_is_refused_in_one_sentence(
    tmp_path: Path, words: str, streams: str
) -> None:
    done = shell(words, streams, tmp_path)
    assert done.stdout == ""
    assert done.stderr == f"coach: {NO_TERMINAL}\n"
    assert done.returncode == (0 if "|" in streams else 2)  # a pipe's is that of its last command
    assert not list(tmp_path.glob("mistake-*"))


@pytest.mark.parametrize("words", [f"score {SAMPLE}", "--help", f"score {SAMPLE} --json"])
@pytest.mark.parametrize(
    ("stream", "why"),
    [(">/dev/full", "No space left on device"), (">&-", "Bad file descriptor")],
)
def test_an_answer_that_cannot_be_written_is_told(
    tmp_path: Path, words: str, stream: str, why: str
) -> None:
    if stream == ">/dev/full" and not Path("/dev/full").exists():
        pytest.skip("this system has no /dev/full")
    done = shell(words, stream, tmp_path)
    [said] = done.stderr.splitlines()
    assert why in said
    assert said.endswith(".")
    assert done.returncode == 2


@pytest.mark.parametrize("streams", ["<&-", "2>&-", "<&- 2>&-", "2>/dev/full"])
def test_other_streams_that_are_shut_change_nothing(tmp_path: Path, streams: str) -> None:
    usual = shell(f"score {SAMPLE}", "", tmp_path)
    done = shell(f"score {SAMPLE}", streams, tmp_path)
    assert (done.returncode, done.stdout, done.stderr) == (0, usual.stdout, "")


@pytest.mark.parametrize("streams", ["2>&-", "2>/dev/full", ">&- 2>&- <&-"])
def test_a_refusal_that_cannot_be_said_is_still_a_refusal(tmp_path: Path, streams: str) -> None:
    done = shell("score missing.musicxml", streams, tmp_path)
    assert done.returncode == 2
    assert not list(tmp_path.glob("mistake-*"))


@pytest.mark.parametrize("words", [f"score {SAMPLE} --notes", f"score {SAMPLE} --json --notes"])
def test_a_reader_who_has_enough_is_no_error(tmp_path: Path, words: str) -> None:
    done = shell(words, "| head -1", tmp_path)
    assert len(done.stdout.splitlines()) == 1
    assert done.stderr == ""


def test_letters_that_a_terminal_has_not_are_no_error(tmp_path: Path) -> None:
    done = shell(f"score {SAMPLE} --move 'bar 1 Ü'", "", tmp_path)
    assert done.returncode == 2
    line = f"PYTHONIOENCODING=ascii '{sys.executable}' -m coach score {SAMPLE} --move 'bar 1 Ü'"
    plain = subprocess.run(
        ["sh", "-c", line], capture_output=True, text=True, cwd=ROOT, timeout=60, check=False
    )
    assert (plain.returncode, plain.stderr.isascii()) == (2, True)
