"""Makes the README's two pictures from the running program, in a real terminal.

    python -m scripts.pictures

The demo runs in xterm under Xvfb (apt-get install xterm xvfb fonts-dejavu-core). One picture is of
the passage played once, one of the drill that comes of it. Each is taken when what it is to show
has been written to the terminal, however slow the machine is. They are kept in
``.github/pictures``; to be made anew whenever the screens change.
"""

from __future__ import annotations

import fcntl
import os
import pty
import re
import signal
import subprocess
import sys
import tempfile
import termios
import time
from collections.abc import Callable
from pathlib import Path

from PIL import Image, ImageGrab

FOLDER = Path(__file__).resolve().parent.parent / ".github" / "pictures"
DISPLAY = ":79"
COLUMNS, ROWS = 120, 40
AFTER = {
    "listening.png": (r"bars 7 to 10 .*listening", r"at bar 9,? beat 1"),
    "drilling.png": (r"LH alone · bar 8 · \d+ bpm", r"listening", r"Clean"),
}
"""What has to be written, one after the other, before each is taken: the whole was played and its
fault told; the place alone, slower, was played clean."""
_SETTLED_S, LONGEST_S = 0.5, 120.0
"""So long nothing more is waited for; and for what never comes."""
_SHADES = 32
"""Colours of a picture: the screens have few, and the files stay small."""
_ESCAPES = re.compile(r"\x1bP.*?\x1b\\|\x1b\[[0-9;?]*[A-Za-z]", re.DOTALL)


def main() -> None:
    """Make both; or, in the terminal, show a command and write down what it writes."""
    if sys.argv[1:2] == ["--log"]:
        _show_and_log(Path(sys.argv[2]), sys.argv[3:])
        return
    if sys.argv[1:2] == ["--sized"]:  # in rows, columns and pixels: a terminal may tell it so alone
        fcntl.ioctl(0, termios.TIOCSWINSZ, bytes.fromhex(sys.argv[2]))
        os.execv(sys.argv[3], sys.argv[3:])
    FOLDER.mkdir(parents=True, exist_ok=True)
    server = subprocess.Popen(["Xvfb", DISPLAY, "-screen", "0", "1100x780x24"])
    time.sleep(1.0)
    with tempfile.TemporaryDirectory() as data:
        log = Path(data) / "terminal"
        demo = [sys.executable, "-m", "coach", "demo", "--speed", "2", "--data", data]
        terminal = subprocess.Popen(
            ["xterm", "-ti", "vt340", "-xrm", "XTerm*maxGraphicSize: 2400x1600", "-geometry",
             f"{COLUMNS}x{ROWS}", "-fa", "DejaVu Sans Mono", "-fs", "11", "-bg", "black",
             "-fg", "white", "-b", "0", "-bw", "0", "-e",
             sys.executable, "-m", "scripts.pictures", "--log", str(log), *demo],
            env={**os.environ, "DISPLAY": DISPLAY},
            start_new_session=True,
        )  # fmt: skip
        read = _reader(log)
        try:
            for name, marks in AFTER.items():
                _wait_for(marks, read)
                time.sleep(_SETTLED_S)
                _keep(ImageGrab.grab(xdisplay=DISPLAY), FOLDER / name)
                print(FOLDER / name)
        finally:
            os.killpg(terminal.pid, signal.SIGKILL)
            server.terminate()


def _show_and_log(log: Path, command: list[str]) -> None:
    """Run a command in a terminal of its own, as large as this one, and log what it writes."""
    size = fcntl.ioctl(0, termios.TIOCGWINSZ, bytes(8))
    with log.open("wb", buffering=0) as file:

        def read(descriptor: int) -> bytes:
            some = os.read(descriptor, 1 << 16)
            file.write(some)
            return some

        pty.spawn([sys.executable, "-m", "scripts.pictures", "--sized", size.hex(), *command], read)


def _reader(log: Path) -> Callable[[], str]:
    """What was written since it was asked last, without escapes and pictures."""
    at = 0

    def read() -> str:
        nonlocal at
        written = log.read_bytes()[at:] if log.exists() else b""
        at += len(written)
        return _ESCAPES.sub(" ", written.decode(errors="replace"))

    return read


def _wait_for(marks: tuple[str, ...], read: Callable[[], str]) -> None:
    """Wait until each of these was written, in this order."""
    text, ends_s = "", time.monotonic() + LONGEST_S
    for mark in marks:
        while not (found := re.search(mark, text)):
            if time.monotonic() > ends_s:
                raise SystemExit(f"{mark!r} was never shown.")
            time.sleep(0.05)
            text += read()
        text = text[found.end() :]


def _keep(picture: Image.Image, file: Path) -> None:
    """Cut to the terminal, in few colours."""
    box = picture.getbbox()
    cut = picture.crop((0, 0, box[2], box[3])) if box else picture
    cut.quantize(_SHADES).save(file, optimize=True)


if __name__ == "__main__":
    main()
