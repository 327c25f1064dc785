"""An evening through the real app: a terminal, a MIDI port, and a player who reads the screen.

In real time. What was played and what the screen said then is written down line by line, so that a
pianist can read it through afterwards.
"""

from __future__ import annotations

import json
import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from random import Random
from typing import Any, TextIO

from coach.playing.simulated.evening import EveningPlayer, Seen
from coach.playing.simulated.gesture import Act, Do, Gesture
from coach.score.model import Score
from coach.score.window import choose_window, excerpt
from scripts.eveningbench.desk import any_goal
from scripts.eveningbench.pieces import paths, score_at

ROOT = Path(__file__).resolve().parent.parent.parent
COLUMNS, ROWS = 100, 40
KEYS = {
    "smaller": "Left", "larger": "Right", "slower": "Down", "faster": "Up", "other hand": "o",
    "again": "a", "next": "n", "not this": "x",
}  # fmt: skip
"""What is pressed on the computer's keyboard for each wish (coach/screens/keymap.py)."""
BARS = r"bars? (\S+?)(?: to (\S+?))?"
BEATS = r"(?:, beat (\d+(?: \d/\d)?) (?:→|->) (?:bar \S+?, beat )?(\d+(?: \d/\d)?))?"
ASKED = re.compile(rf"(LH alone|RH alone|hands together) · {BARS}{BEATS} · (?:(\d+) bpm|own tempo)")
WORD = re.compile("[A-Za-z]{3}")
HANDS = {"LH alone": "lh", "RH alone": "rh", "hands together": "both"}


class Terminal:
    """A tmux of our own with one program in it."""

    def __init__(self, folder: Path) -> None:
        self._socket = f"evening_{os.getpid()}"
        self.status = folder / "status"

    def run(self, command: Sequence[str]) -> None:
        """Start a program; the one before has ended."""
        self.close()
        self.status.unlink(missing_ok=True)
        line = " ".join(map(shlex.quote, ["env", "-u", "COLUMNS", "-u", "LINES", *command]))
        line += f"; echo $? >{shlex.quote(str(self.status))}; sleep 3600"
        size = ["-x", str(COLUMNS), "-y", str(ROWS)]
        for _ in range(40):  # the server that was ended a moment ago may still hold its socket
            try:
                self._tmux("-f", "/dev/null", "new-session", "-d", *size, line)
                return
            except subprocess.CalledProcessError:
                time.sleep(0.1)
        raise RuntimeError("tmux starts no session")

    def text(self) -> str:
        """What the screen shows."""
        return self._tmux("capture-pane", "-p")

    def press(self, key: str) -> None:
        """Press a key of the computer."""
        self._tmux("send-keys", key)

    def close(self) -> None:
        """End the terminal and whatever runs in it."""
        subprocess.run(
            ["tmux", "-L", self._socket, "kill-server"], capture_output=True, check=False
        )

    @property
    def has_ended(self) -> str:
        """The program's exit status, where it has ended."""
        return self.status.read_text().strip() if self.status.exists() else ""

    def _tmux(self, *arguments: str) -> str:
        done = subprocess.run(
            ["tmux", "-u", "-L", self._socket, *arguments],
            capture_output=True, text=True, encoding="utf-8", check=True,
        )  # fmt: skip
        return done.stdout


class Piano:
    """The piano: a process of its own that sends what it is told."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, str(ROOT / "scripts/play_midi.py")],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        self._answer()
        self._down: set[int] = set()

    def _answer(self) -> Any:
        assert self._process.stdout
        return json.loads(self._process.stdout.readline())

    def tell(self, **order: object) -> None:
        """Carry out one order of scripts/play_midi.py."""
        assert self._process.stdin
        self._process.stdin.write(json.dumps(order) + "\n")
        self._process.stdin.flush()
        self._answer()

    def do(self, act: Act) -> None:
        """Strike or let go a key; a key that is down already is struck on a second channel."""
        if act.do is Do.DOWN:
            channel = int(act.one in self._down)
            self._down.add(act.one)
            self.tell(send=[0x90 | channel, act.one, act.two])
        elif act.do is Do.UP:
            channel = int(act.one not in self._down)
            self._down.discard(act.one)
            self.tell(send=[0x80 | channel, act.one, 0])
        elif act.do is Do.PEDAL:
            self.tell(send=[0xB0, act.one, act.two])
        elif act.do is Do.LOST:
            self._down.clear()
            self.tell(unplug=True)
        elif act.do is Do.FOUND:
            self.tell(plug=True)

    def close(self) -> None:
        """Switch it off."""
        assert self._process.stdin
        self._process.stdin.close()
        self._process.wait(10)


class LiveEvening:
    """One evening of some minutes; writes its log as it goes."""

    def __init__(self, seed: int, minutes: float, log: TextIO) -> None:
        self._random = Random(f"live {seed}")
        self._player = EveningPlayer(self._random)
        self._log, self._minutes = log, minutes
        self._folder = Path(tempfile.mkdtemp(prefix="evening-"))
        self._terminal = Terminal(self._folder)
        self._start_s = time.monotonic()
        self._shown: list[str] = []
        self._command: list[str] = []
        self._score: Score = score_at(paths()[0])
        self.ended: list[str] = []
        """Every time that the app ended by itself: what it said."""
        self.counts: Counter[str] = Counter()

    def run(self) -> None:
        """Play until the time is over."""
        piano = Piano()
        end_s = self._start_s + 60 * self._minutes
        change_s = 0.0
        try:
            while time.monotonic() < end_s:
                if time.monotonic() > change_s:
                    self._open()
                    change_s = time.monotonic() + self._random.uniform(180, 420)
                if self._terminal.has_ended:
                    self._note_end()
                    self._terminal.run(self._command)
                    time.sleep(2.0)
                seen = self._look()
                if seen is None:
                    self._terminal.press("Escape")
                    time.sleep(0.5)
                    if self._terminal.text().find("What will you play") >= 0:
                        change_s = 0.0
                    continue
                self._make(piano, self._player.next(seen))
        finally:
            self._tell("the screen at the end")
            self._see()
            alive = not self._terminal.has_ended
            self._tell(f"the app {'lives' if alive else 'has ended: ' + self._terminal.has_ended}")
            self._terminal.close()
            piano.close()

    def _open(self) -> None:
        """Another piece, any bars and tempo, without a click: this player hears none."""
        path = self._random.choice(paths())
        self._score = score_at(path)
        goal = any_goal(self._score, self._random)
        first, last = self._score.bars_of(goal.window.start_quarters, goal.window.end_quarters)
        bars = f"#{first.index + 1}-#{min(last.index, first.index + 7) + 1}"
        beat = float(first.metre.beat_quarters)
        self._command = [
            sys.executable, "-m", "coach", "drill", str(path), "--bars", bars,
            "--tempo", str(max(20, round(goal.qpm / beat))), "--data", str(self._folder / "data"),
        ]  # fmt: skip
        self._player.opens(self._score)
        self._tell(f"opens {path.stem}, bars {bars}, {self._command[-3]} bpm")
        self._terminal.run(self._command)
        time.sleep(3.0)
        self._see()

    def _look(self) -> Seen | None:
        """Read the screen; None where no assignment stands on it."""
        text = self._see()
        found = ASKED.search(text)
        if not found:
            return None
        hands, first, last, start, second, bpm = found.groups()
        try:
            window = choose_window(
                self._score,
                bars=f"{first}-{last or first}",
                beats=f"{start}-{second}" if start else None,
                hands=HANDS[hands],
            )
        except ValueError as wrong:
            self._tell(f"can't read what is asked for: {found.group()}: {wrong}")
            return None
        beat = self._score.bar_at(window.start_quarters).metre.beat_quarters
        qpm = float(bpm) * float(beat) if bpm else None
        shown = excerpt(self._score, window)
        return Seen(
            time.monotonic(), self._score, shown, qpm, "rhythm", False, None, "finished" in text
        )

    def _make(self, piano: Piano, gesture: Gesture) -> None:
        """Make a gesture, look at what the screen says, rest, and look again."""
        meant = ", ".join(
            f"{p.kind} ({len(p.struck_s)} keys, {p.worth}"
            + "".join(f", {_planted(one.onset_quarters, one.pitch)}" for one in p.planted)
            + ")"
            for p in gesture.passages
        )
        self.counts[gesture.kind] += 1
        self._tell(f"PLAYS {gesture.kind}: {meant or [str(a.do) + a.word for a in gesture.acts]}")
        for act in gesture.acts:
            time.sleep(max(act.at_s - time.monotonic(), 0.0))
            if act.do is Do.ASK:
                self._terminal.press(KEYS[act.word])
            elif act.do in (Do.PAUSE, Do.RESUME):
                self._terminal.press("p")
            elif act.do is Do.LEAVE:
                self._terminal.press("C-q")
                time.sleep(1.0)
                self._tell(f"left; exit status {self._terminal.has_ended or 'none yet'}")
                if self._terminal.has_ended == "0":
                    self._terminal.run(self._command)
                    time.sleep(3.0)
            else:
                piano.do(act)
        time.sleep(0.5)
        self._see()
        time.sleep(min(max(gesture.rest_s - 0.5, 0.0), 10.0))

    def _see(self) -> str:
        """Write down the lines of the screen that are new, and say something."""
        text = self._terminal.text()
        lines = [line.strip() for line in text.splitlines() if WORD.search(line)]
        for line in lines:
            if line not in self._shown:
                print(f"{'':10} | {line}", file=self._log, flush=True)
        self._shown = lines
        return text

    def _note_end(self) -> None:
        self.ended.append(self._terminal.has_ended)
        self._tell(f"THE APP ENDED with status {self._terminal.has_ended}")
        self._see()

    def _tell(self, what: str) -> None:
        at_s = time.monotonic() - self._start_s
        print(f"{at_s:9.2f} s {what}", file=self._log, flush=True)


def _planted(onset: Fraction, pitch: int) -> str:
    return f"key {pitch} at {float(onset):g} quarters"


def run_live(seed: int, minutes: float, log: Path) -> int:
    """Play an evening through the app beside a JACK server of its own; the exit status."""
    if not os.environ.get("JACK_DEFAULT_SERVER"):
        again = [str(ROOT / "scripts/jack"), sys.executable, *sys.argv]
        return subprocess.run(again, check=False).returncode
    if not shutil.which("tmux"):
        print("needs tmux: apt-get install -y --no-install-recommends tmux", file=sys.stderr)
        return 3
    with log.open("w") as file:
        evening = LiveEvening(seed, minutes, file)
        try:
            evening.run()
        except KeyboardInterrupt:
            print("stopped")
    print(f"{sum(evening.counts.values())} gestures, the log is in {log}")
    print(f"the app ended by itself {len(evening.ended)} times {evening.ended or ''}")
    return 1 if evening.ended else 0
