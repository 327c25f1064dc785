"""How long a score takes to open, and the coach to start: three ratios, each against a named other.

    python scripts/bench_opening.py [--runs N] [SCORE ...]

1. Opening a second time (from our cache) against the bar of 30 ms.
2. Opening the first time (a process of its own, read, checked, cached) against music21's parse of
   the same file, its own cache off: in a process of its own as well, and in this one, where
   music21 is loaded already.
3. ``python -m coach`` from its start to the first paint, against a bare Textual app with one line
   of text, each in a pseudo-terminal of 120 x 40 (Linux and macOS).

Without SCORE, the piano scores of music21's corpus are opened. Figures are medians.
"""

from __future__ import annotations

import argparse
import os
import re
import select
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from coach.score.opening import open_score  # noqa: E402
from scripts.corpus import PIANO_SCORES, corpus  # noqa: E402
from scripts.mutate_scores import SAMPLES  # noqa: E402

BAR_MS = 30.0
_UNCACHED: dict[str, Any] = {"forceSource": True, "storePickle": False}
MUSIC21 = (
    *(sys.executable, "-c"),
    f"import sys; from music21 import converter; converter.parse(sys.argv[1], **{_UNCACHED})",
)
BARE_APP = """
from textual.app import App
from textual.widgets import Static
class Bare(App):
    def compose(self):
        yield Static("a bare app with one line of text")
Bare().run()
"""
_ESCAPES = re.compile(rb"\x1b(?:\[[0-9;?<>=$]*[a-zA-Z]|\][^\x07\x1b]*(?:\x07|\x1b\\)|[()=>PX^_].?)")
_ALTERNATE_SCREEN = b"\x1b[?1049h"


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("scores", nargs="*", type=Path)
    parser.add_argument("--runs", type=int, default=7)
    args = parser.parse_args()
    scores = args.scores or [corpus() / name for name in PIANO_SCORES] + _samples()
    _opening(scores, args.runs)
    _starting(args.runs)


def _samples() -> list[Path]:
    return sorted(SAMPLES.glob("*.musicxml"))


def _median_ms(action: Callable[[], object], runs: int) -> float:
    return 1000 * statistics.median(_seconds(action) for _ in range(runs))


def _seconds(action: Callable[[], object]) -> float:
    start = time.perf_counter()
    action()
    return time.perf_counter() - start


def _opening(scores: Sequence[Path], runs: int) -> None:
    from music21 import converter

    converter.parse(scores[0], **_UNCACHED)  # all is loaded now
    print(f"{'':28} notes  second ms  first ms  music21 ms: own process, loaded already")
    seconds, ratios, loaded = [], [], []
    with tempfile.TemporaryDirectory() as folder:
        cache = Path(folder)
        for path in scores:
            first = _median_ms(partial(_first, path, cache), 3)
            second = _median_ms(partial(open_score, path, cache_dir=cache), runs)
            apart = _median_ms(partial(subprocess.run, [*MUSIC21, str(path)], check=True), 3)
            theirs = _median_ms(partial(converter.parse, path, **_UNCACHED), 3)
            notes = len(open_score(path, cache_dir=cache).notes)
            seconds.append(second)
            ratios.append(first / apart)
            loaded.append(first / theirs)
            print(
                f"{path.name:28} {notes:5} {second:10.1f} {first:9.0f} {apart:24.0f} {theirs:14.0f}"
            )
    print(
        f"second opening: median {statistics.median(seconds):.1f} ms, worst {max(seconds):.1f} ms,"
        f" {max(seconds) / BAR_MS:.2f} of the bar of {BAR_MS:.0f} ms"
    )
    print(
        f"first opening / music21 in its own process: median {statistics.median(ratios):.2f},"
        f" worst {max(ratios):.2f} (bar 1.15); / music21 loaded already: median"
        f" {statistics.median(loaded):.2f}, worst {max(loaded):.2f}"
    )


def _first(path: Path, cache: Path) -> None:
    for entry in cache.iterdir():
        entry.unlink()
    open_score(path, cache_dir=cache)


def _starting(runs: int) -> None:
    if sys.platform == "win32" or not (ROOT / "coach" / "__main__.py").exists():
        print("start to first paint: not measured here")
        return
    bare, ours = [], []
    with tempfile.TemporaryDirectory() as home:
        for _ in range(runs + 1):  # in turn, so that both meet the same machine
            bare.append(_first_paint([sys.executable, "-c", BARE_APP], home))
            ours.append(_first_paint([sys.executable, "-m", "coach"], home))
    one, other = statistics.median(ours[1:]), statistics.median(bare[1:])
    print(
        f"start to first paint: coach {1000 * one:.0f} ms, bare Textual app {1000 * other:.0f} ms,"
        f" ratio {one / other:.2f} (bar 1.3)"
    )


def _first_paint(command: Sequence[str], home: str) -> float:
    """Seconds from starting a program in a terminal to the first text on its own screen."""
    import pty
    import signal

    start = time.perf_counter()
    child, terminal = pty.fork()
    if not child:
        _become(command, home)
    try:
        return _until_text(terminal, start + 20) - start
    finally:
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        os.close(terminal)


def _become(command: Sequence[str], home: str) -> None:
    """In the forked child: take a size and a clean home, and turn into the program."""
    import fcntl
    import struct
    import termios

    fcntl.ioctl(0, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 120, 0, 0))
    os.chdir(ROOT)
    clean = {
        "HOME": home,
        "KEYHOLE_DATA": f"{home}/data",
        "XDG_CACHE_HOME": f"{home}/cache",
        "XDG_DATA_HOME": f"{home}/share",
        "TERM": "xterm-256color",
        "COLORTERM": "truecolor",
    }
    os.execvpe(command[0], list(command), {**os.environ, **clean})


def _until_text(terminal: int, deadline: float) -> float:
    """The moment when letters stand on the alternate screen."""
    seen = b""
    while time.perf_counter() < deadline:
        if not select.select([terminal], [], [], 0.5)[0]:
            continue
        try:
            seen += os.read(terminal, 1 << 16)
        except OSError:  # it has ended
            break
        _, entered, painted = seen.partition(_ALTERNATE_SCREEN)
        if entered and sum(c.isalpha() for c in _ESCAPES.sub(b"", painted).decode("latin-1")) >= 8:
            return time.perf_counter()
    raise SystemExit(f"nothing was painted; the terminal shows {seen[-300:]!r}")


if __name__ == "__main__":
    main()
