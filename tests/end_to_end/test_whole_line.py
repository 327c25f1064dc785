"""The whole line, as a pianist meets it: a real terminal, a real MIDI port, a piano in another
process. The one who plays there reads the screen and does what it asks for.
"""

from __future__ import annotations

import re
import sqlite3
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from coach.score.model import Hand, ScoreNote
from coach.score.reading import read_score
from coach.screens.big_letters import big
from coach.screens.drill.presenter import HOLD_S
from tests.end_to_end.sightreader import Fault, Read, no_fault, play, read_assignment
from tests.end_to_end.terminal import Terminal, terminal
from tests.jackrig import Pianist

__all__ = ["terminal"]

pytestmark = pytest.mark.real

ROOT = Path(__file__).parent.parent.parent
SAMPLE = ROOT / "sample_scores/1-low-tide.musicxml"
SCORE = read_score(SAMPLE)
COACH = (sys.executable, "-m", "coach")
READY = "play when ready"


def f_for_e(note: ScoreNote) -> int:
    """The fault: the left hand strikes F instead of E on beat 3 of bar 1."""
    return int(note.hand is Hand.LEFT and note.onset_quarters == 2)


def _is_over(screen: str) -> bool:
    """Whether nothing is being played."""
    return READY in screen or "finished" in screen


class Lesson:
    """A pianist before the drill screen."""

    def __init__(self, terminal: Terminal, pianist: Pianist) -> None:
        self._terminal, self._pianist = terminal, pianist
        self.played: list[str] = []
        """The assignments that were played, in the screen's words."""

    def read(self) -> Read:
        """What is asked for, once the screen has held still for longer than a verdict is held."""
        before, since_s = "", time.monotonic()
        while time.monotonic() - since_s < HOLD_S + 0.2:
            screen = self._terminal.wait(READY, within_s=20)
            if screen != before:
                before, since_s = screen, time.monotonic()
            time.sleep(0.05)
        read = read_assignment(before, SCORE)
        assert read, f"no assignment on the screen:\n{before}"
        return read

    def play(self, fault: Fault = no_fault, *, read: Read | None = None) -> str:
        """Do what is asked for, as it was read just now or else is read first; the screen with the
        verdict on it."""
        read = read or self.read()
        self.played.append(read.words)
        before = self._terminal.text()
        self._pianist.play(play(read, fault))
        return self._terminal.wait(lambda screen: screen != before and _is_over(screen))

    def begin(self, notes: int) -> None:
        """Play the first notes of the window, and no more."""
        self._pianist.play(play(self.read())[:notes])


def leave(terminal: Terminal) -> None:
    """Close the piece and then the program."""
    terminal.press("Escape")
    terminal.wait("What will you play")
    terminal.press("q")
    assert terminal.status() == 0


def large(figure: str, screen: str) -> bool:
    """Whether a figure stands in large letters at the screen's left edge, in either size."""
    rows = [row.strip(" ") + " " * 80 for row in screen.splitlines()]
    return any(
        all(row.startswith(line.strip(" ")) for line, row in zip(lines, rows[top:], strict=False))
        for lines in (big(figure), big(figure, tall=True))
        for top in range(len(rows) - len(lines) + 1)
    )


def said_large(word: str, screen: str) -> bool:
    """Whether a word stands in large letters anywhere on the screen, its rows one below another."""
    rows = screen.splitlines()
    return any(
        all(row.startswith(line, column) for line, row in zip(lines, rows[top:], strict=False))
        for lines in (big(word), big(word, tall=True))
        for top in range(len(rows) - len(lines) + 1)
        for column in range(len(rows[top]))
    )


def clean_run(screen: str) -> str:
    """The clean run that the screen shows; none yet where it says in large what is new."""
    return next((figure for figure in "0123456789" if large(figure, screen)), "0")


def test_plays_badly_is_led_to_the_trouble_plays_well_and_is_led_back(
    terminal: Terminal, pianist: Pianist, tmp_path: Path
) -> None:
    data = tmp_path / "data"
    asked_for = ("--bars", "1", "--tempo", "220", "--clean", "2", "--data", str(data))
    drill = (*COACH, "drill", str(SAMPLE), *asked_for)
    terminal.run(*drill)
    lesson = Lesson(terminal, pianist)

    # Badly: the verdict names hand and beat; then the window closes in on the left hand.
    screen = lesson.play(f_for_e)
    assert re.search("LH F for E at beat 3", screen), screen
    for _ in range(6):
        if (asked := lesson.read()).words.startswith("LH alone"):
            break
        lesson.play(f_for_e, read=asked)
    assert asked.words.startswith("LH alone · bar 1"), lesson.played

    # Well, once: it is counted. Then the lid is closed, and opened again at the same place.
    counted = lesson.play(read=asked)
    assert said_large("CLEAN", counted), counted
    assert large("1", counted), counted
    stood, run = lesson.read().words, clean_run(terminal.text())
    leave(terminal)
    assert repetitions_kept(data) == len(lesson.played)
    terminal.run(*drill)
    again = lesson.read()
    assert (again.words, clean_run(terminal.text())) == (stood, run)

    # Well, on and on: it is put back, until the whole is clean so many times running.
    lesson.play(read=again)
    for _ in range(20):
        if "finished" in lesson.play():
            break
    assert "finished" in terminal.text(), lesson.played
    assert lesson.played[-1].startswith("hands together · bar 1 · 220 bpm")
    leave(terminal)
    assert repetitions_kept(data) == len(lesson.played)


def repetitions_kept(data: Path) -> int:
    """How many repetitions the record holds, read past the program that wrote it."""
    [file] = data.glob("*.sqlite3")
    with closing(sqlite3.connect(file)) as record:
        return int(record.execute("SELECT count(*) FROM repetition").fetchone()[0])


def test_a_piano_unplugged_in_mid_bar_is_said_and_playing_goes_on_when_it_is_back(
    terminal: Terminal, pianist: Pianist, tmp_path: Path
) -> None:
    data = tmp_path / "data"
    terminal.run(*COACH, "drill", str(SAMPLE), "--bars", "1", "--tempo", "220", "--data", str(data))
    lesson = Lesson(terminal, pianist)
    lesson.begin(notes=3)
    terminal.wait("listening")
    pianist.unplug()
    terminal.wait("no piano", within_s=2.5)  # two seconds, and half of one to read the screen
    assert not repetitions_kept(data)
    pianist.plug()
    terminal.wait(READY, within_s=2.5)
    assert said_large("CLEAN", lesson.play())
    assert repetitions_kept(data) == 1


def test_the_demo_runs_to_its_end_by_itself(terminal: Terminal, tmp_path: Path) -> None:
    terminal.run(*COACH, "demo", str(SAMPLE), "--speed", "16", "--data", str(tmp_path / "data"))
    terminal.wait("SIMULATED PLAYER", within_s=20)
    terminal.wait("finished", within_s=60)
    leave(terminal)


def test_a_terminal_that_is_too_small_says_so_and_shows_the_music_when_it_is_larger(
    terminal: Terminal, tmp_path: Path
) -> None:
    terminal.run(*COACH, "demo", "--data", str(tmp_path / "data"), columns=59, rows=17)
    terminal.wait("at least 60 columns by 18 rows", within_s=20)
    time.sleep(1)  # the score has opened meanwhile; it does not cover what is said
    assert "at least 60 columns by 18 rows" in terminal.text()
    terminal.resize(80, 24)
    terminal.wait("SIMULATED PLAYER")
