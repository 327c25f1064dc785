"""Marks that are written alone, in a real terminal: a full repaint leaves the screen as it was."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest

from coach.score.reading import read_score
from tests.end_to_end.sightreader import play, read_assignment
from tests.end_to_end.terminal import Terminal, terminal
from tests.jackrig import Pianist

__all__ = ["terminal"]

pytestmark = pytest.mark.real

SAMPLE = Path(__file__).parent.parent.parent / "sample_scores/1-low-tide.musicxml"
HELP = "At the piano"
MARKED = re.compile(r"^ .*=.*=.*=", re.MULTILINE)


@pytest.mark.parametrize(("columns", "rows"), [(120, 40), (80, 24)])
def test_a_full_repaint_in_mid_repetition_changes_no_cell(
    terminal: Terminal, pianist: Pianist, tmp_path: Path, columns: int, rows: int
) -> None:
    drill = (sys.executable, "-m", "coach", "drill", str(SAMPLE), "--bars", "1-2", "--tempo", "120")
    terminal.run(*drill, "--data", str(tmp_path / "data"), columns=columns, rows=rows)
    score = read_score(SAMPLE)
    read = read_assignment(terminal.wait(lambda text: read_assignment(text, score)), score)
    assert read
    pianist.play(play(read)[:6])
    terminal.wait(lambda text: MARKED.search(text) and "listening" in text)
    before = terminal.styled()
    terminal.press("?")
    terminal.wait(HELP)
    terminal.press("Escape")
    terminal.wait(lambda text: HELP not in text)
    assert terminal.styled() == before
