"""No child of ours runs code of the folder that the pianist happens to be in."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from coach.children import start_python
from coach.cli.judges import Judges
from coach.judging.judge import JudgingJob
from coach.judging.model import Stage
from coach.judging.timing.habits import Habits
from coach.judging.tolerance import USUAL
from coach.playing.notes import Take
from coach.playing.ports.driver import Echo, Probe
from coach.playing.sounding import SoundingLine
from coach.score.opening.process import ask
from tests.breadth import every
from tests.jackrig import JackServer, wait_for
from tests.judging_help import both, whole

ROOT = Path(__file__).parent.parent
HOSTILE = ("rtmidi", "json", "subprocess", "coach", "mido", "textual", "threading")
"""Modules that Keyhole or its children import."""


@pytest.fixture
def ran(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder at hand is full of hostile modules; the file that they leave where one is run."""
    folder, trace = tmp_path / "scores", tmp_path / "ran"
    folder.mkdir()
    for name in HOSTILE:
        harm = f"open({str(trace)!r}, 'a').write({name!r} + '\\n')\nraise SystemExit(1)\n"
        (folder / f"{name}.py").write_text(harm)
    monkeypatch.chdir(folder)
    monkeypatch.delenv("PYTHONPATH", raising=False)
    return trace


def echo() -> None:
    line = Echo.of(0)
    line.send()
    time.sleep(0.5)  # it has imported what it needs, or ended
    line.stop()


def probe() -> None:
    asking = Probe.of(0)
    wait_for(lambda: asking.answer() is not None or asking._child is None, 10)
    asking.stop()


def reader() -> None:
    ask({"path": str(ROOT / "sample_scores" / "none.musicxml")})


def judge() -> None:
    part = whole(both(8))
    job = JudgingJob(0, part, Take(()), Stage.RHYTHM, None, None, USUAL, Habits())
    judges = Judges(patience_s=20)
    judges.give(job).result(60)
    judges.close()


def sounding() -> None:
    line = SoundingLine("no such system")
    line.play("Piano", ())
    time.sleep(0.7)  # it has imported what it needs, and ended
    line.close()


CHILDREN = [echo, probe, reader, judge, sounding]


@pytest.mark.parametrize("child", CHILDREN)
@pytest.mark.parametrize("module_path", every(2, [None, os.pathsep, "", "."]))
def test_no_child_runs_what_lies_in_the_folder_at_hand(
    child: Callable[[], None],
    module_path: str | None,
    ran: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    if module_path is not None:
        monkeypatch.setenv("PYTHONPATH", module_path)
    child()
    assert not ran.exists(), ran.read_text()


def test_a_place_for_modules_that_was_named_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(["", str(tmp_path), "."]))
    code = "import sys, coach; print(*sys.path, sep='\\n')"
    child = start_python(["-c", code], stdout=subprocess.PIPE)
    places = child.communicate()[0].decode().split("\n")
    assert str(tmp_path) in places
    assert not {"", ".", os.getcwd()} & {*places[:-1]} - {str(ROOT)}


@pytest.mark.real
def test_a_file_called_rtmidi_beside_the_scores_is_not_run_with_jack(
    ran: Path, jack_server: JackServer
) -> None:
    (Path.cwd() / "coach.py").unlink()  # -m was asked for that one by name
    done = subprocess.run(
        [sys.executable, "-m", "coach", "ports"], capture_output=True, text=True, check=False
    )
    assert not ran.exists(), ran.read_text()
    assert "From the piano:" in done.stdout


STARTS = ("executable", "Popen", "subprocess", "multiprocessing")
"""Without one of these words no other process is started by what is looked for."""


def test_every_python_is_started_in_one_place() -> None:
    """A module that names the interpreter, or starts processes by another way, is found here."""
    for path in (ROOT / "coach").rglob("*.py"):
        if path.name in ("children.py", "limits.py"):
            continue
        text = path.read_text(encoding="utf-8")
        if not any(word in text for word in STARTS):
            continue
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.Attribute):
                assert ast.unparse(node) != "sys.executable", path
            if isinstance(node, ast.Call):
                called = ast.unparse(node.func)
                assert called not in ("subprocess.Popen", "Popen", "subprocess.run"), path
            if isinstance(node, ast.Import | ast.ImportFrom):
                assert "multiprocessing" not in ast.unparse(node), path
