"""A real terminal for tests: a tmux of its own, keys sent to it, its screen read back."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

import pytest

from tests.jackrig import missing

INSTALL = "needs tmux: apt-get install -y --no-install-recommends tmux"


class Terminal:
    """One terminal in which one program runs."""

    def __init__(self, folder: Path) -> None:
        self._socket = f"keyhole_test_{os.getpid()}_{time.monotonic_ns()}"
        self._folder = folder
        self._runs = False

    def run(
        self, *command: str, columns: int = 80, rows: int = 24, env: Mapping[str, str] | None = None
    ) -> None:
        """Start a program in a terminal of this size; what it leaves stays on the screen."""
        # A size in the environment would be believed more than the terminal's own.
        environment = ["-u", "COLUMNS", "-u", "LINES"]
        environment += [f"{name}={value}" for name, value in (env or {}).items()]
        line = " ".join(map(shlex.quote, ["env", *environment, *command]))
        status = self._folder / "status"
        status.unlink(missing_ok=True)
        self._tmux(
            "-f", "/dev/null", "new-session", "-d", "-x", str(columns), "-y", str(rows),
            f"{line}; echo $? >{shlex.quote(str(status))}; sleep 3600",
        )  # fmt: skip
        self._runs = True

    def text(self) -> str:
        """The screen as it is now, row by row."""
        return self._tmux("capture-pane", "-p")

    def styled(self) -> str:
        """The screen as it is now, with the styles of its cells as escape sequences."""
        return self._tmux("capture-pane", "-p", "-e")

    def resize(self, columns: int, rows: int) -> None:
        """Make the terminal larger or smaller."""
        self._tmux("resize-window", "-x", str(columns), "-y", str(rows))

    def press(self, *keys: str) -> None:
        """Press keys of the computer, as tmux names them."""
        self._tmux("send-keys", *keys)

    def wait(self, what: str | Callable[[str], object], within_s: float = 10.0) -> str:
        """Wait until a pattern (or whatever a function looks for) is on the screen; the screen."""
        found = what if callable(what) else re.compile(what, re.MULTILINE).search
        deadline_s = time.monotonic() + within_s
        while not found(text := self.text()):
            if time.monotonic() > deadline_s:
                pytest.fail(f"{what} did not appear within {within_s} s; the screen was:\n{text}")
            time.sleep(0.05)
        return text

    def status(self, within_s: float = 10.0) -> int:
        """Wait until the program has ended; its exit status."""
        status = self._folder / "status"
        deadline_s = time.monotonic() + within_s
        while not (status.exists() and status.read_text()):
            if time.monotonic() > deadline_s:
                pytest.fail(f"still running after {within_s} s; the screen was:\n{self.text()}")
            time.sleep(0.05)
        return int(status.read_text())

    def close(self) -> None:
        """End the terminal and whatever runs in it."""
        if self._runs:
            self._tmux("kill-server")
            self._runs = False

    def _tmux(self, *arguments: str) -> str:
        done = subprocess.run(
            ["tmux", "-u", "-L", self._socket, *arguments],
            capture_output=True,
            text=True,
            encoding="utf-8",
            check=True,
        )
        return done.stdout


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Terminal]:
    """A terminal; skipped, with what to install, where there is no tmux."""
    if not shutil.which("tmux"):
        missing(INSTALL)
    opened = Terminal(tmp_path)
    try:
        yield opened
    finally:
        opened.close()
