"""Makes the README's two pictures from the running program, in a real terminal.

    python -m scripts.pictures

The demo runs in xterm under Xvfb (apt-get install xterm xvfb fonts-dejavu-core). One picture is of
the passage played once, one of the drill that comes of it. They are kept in ``.github/pictures``;
to be made anew whenever the screens change.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from PIL import Image, ImageGrab

FOLDER = Path(__file__).resolve().parent.parent / ".github" / "pictures"
DISPLAY = ":79"
MOMENTS_S = {"listening.png": 9.0, "drilling.png": 27.0}
"""When each is taken, from the demo's beginning."""
_SHADES = 32
"""Colours of a picture: the screens have few, and the files stay small."""


def main() -> None:
    """Make both."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    server = subprocess.Popen(["Xvfb", DISPLAY, "-screen", "0", "1100x780x24"])
    time.sleep(1.0)
    with tempfile.TemporaryDirectory() as data:
        terminal = subprocess.Popen(
            ["xterm", "-ti", "vt340", "-xrm", "XTerm*maxGraphicSize: 2400x1600", "-geometry",
             "120x40", "-fa", "DejaVu Sans Mono", "-fs", "11", "-bg", "black", "-fg", "white",
             "-b", "0", "-bw", "0", "-e", sys.executable, "-m", "coach", "demo", "--speed", "2",
             "--data", data],
            env={**os.environ, "DISPLAY": DISPLAY},
            start_new_session=True,
        )  # fmt: skip
        begun_s = time.monotonic()
        try:
            for name, at_s in MOMENTS_S.items():
                time.sleep(max(begun_s + at_s - time.monotonic(), 0))
                _keep(ImageGrab.grab(xdisplay=DISPLAY), FOLDER / name)
                print(FOLDER / name)
        finally:
            os.killpg(terminal.pid, signal.SIGKILL)
            server.terminate()


def _keep(picture: Image.Image, file: Path) -> None:
    """Cut to the terminal, in few colours."""
    box = picture.getbbox()
    cut = picture.crop((0, 0, box[2], box[3])) if box else picture
    cut.quantize(_SHADES).save(file, optimize=True)


if __name__ == "__main__":
    main()
