"""How soon a window's picture is at the terminal, once it is asked for by a key of the computer.

The running program is shown in a pseudo-terminal that answers as a terminal with sixel does. Keys
are pressed at rest (the likely windows are engraved ahead by then) and at once, one after the
other. A picture's time is from the key to its last byte. On a busy machine what the program's main
thread worked in between says more. Beside it, in the same run: the same bytes written to such a
terminal by a bare loop, one picture after the other.

    python -m scripts.bench_pictures --keys 60
"""

from __future__ import annotations

import argparse
import fcntl
import os
import random
import select
import struct
import subprocess
import sys
import tempfile
import termios
import threading
import time
from pathlib import Path
from statistics import median, quantiles

COLUMNS, ROWS, CELL = 120, 40, (9, 20)
"""A usual window; a cell in pixels, as of xterm with an 11 point font."""
ANSWERS = (
    b"\x1b]10;rgb:ffff/ffff/ffff\x1b\\\x1b]11;rgb:0000/0000/0000\x1b\\"
    b"\x1b[?2;0;2000;2000S" + f"\x1b[6;{CELL[1]};{CELL[0]}t".encode() + b"\x1b[?62;4c"
)
"""What such a terminal says to the program's questions (``screens/terminal/graphics.py``)."""
PICTURE, END = b"\x1bP", b"\x1b\\"
"""How a sixel picture begins and ends (DEC STD 070)."""
KEYS = "\x1b[D", "\x1b[C", "o", "n"
"""Smaller, larger, the other hand, on (``screens/keymap.py``)."""
LONGEST_S, REST_S = 3.0, 4.0
"""Nobody waits longer for a picture; the rest in which the likely windows are engraved."""
AT_ONCE_S, STARTED_S = 0.05, 60.0


class SixelTerminal:
    """The program in a pseudo-terminal, and when each picture's last byte came out of it."""

    def __init__(self, command: list[str], data: Path) -> None:
        self._ours, theirs = os.openpty()
        size = struct.pack("HHHH", ROWS, COLUMNS, COLUMNS * CELL[0], ROWS * CELL[1])
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, size)
        environment = {
            **os.environ,
            "KEYHOLE_DATA": str(data),
            "TERM": "xterm-256color",
            "COLORTERM": "truecolor",
        }
        self._child = subprocess.Popen(
            command, stdin=theirs, stdout=theirs, stderr=theirs, env=environment
        )
        os.close(theirs)
        self._tail = b""
        self.pictures: list[tuple[float, int]] = []
        """When the last byte of each came, and how many bytes it had."""

    def press(self, key: str) -> float:
        """Press a key; when that was."""
        at_s = time.perf_counter()
        os.write(self._ours, key.encode())
        return at_s

    def worked_s(self) -> float:
        """Processor time of the program's main thread up to now (Linux: schedstat)."""
        return int(Path(f"/proc/{self._child.pid}/schedstat").read_text().split()[0]) / 1e9

    def read(self, for_s: float, *, until_picture: bool = False) -> None:
        """Read what is written for so long, or until a picture has come."""
        ends_s = time.perf_counter() + for_s
        before = len(self.pictures)
        while (left_s := ends_s - time.perf_counter()) > 0:
            if until_picture and len(self.pictures) > before:
                return
            if select.select([self._ours], [], [], left_s)[0]:
                self._take(os.read(self._ours, 1 << 16), time.perf_counter())

    def _take(self, some: bytes, at_s: float) -> None:
        text = self._tail + some
        if b"\x1b[c" in text:
            os.write(self._ours, ANSWERS)
            text = text.replace(b"\x1b[c", b"")
        while (start := text.find(PICTURE)) >= 0 and (end := text.find(END, start)) >= 0:
            if b"q" in text[start : start + 12]:  # sixel, and no other control string
                self.pictures.append((at_s, end + len(END) - start))
            text = text[end + len(END) :]
        start = text.find(PICTURE)
        self._tail = text[start:] if start >= 0 else text[-16:]

    def end(self) -> None:
        """End the program."""
        self._child.kill()  # it has nothing to lose
        self._child.wait()
        os.close(self._ours)


def time_keys(
    terminal: SixelTerminal, count: int, rest_s: float, rng: random.Random
) -> tuple[list[float], list[float]]:
    """Milliseconds from a key to its picture's last byte, and of them on the processor; keys that
    show no other window count for nothing."""
    took_ms, worked_ms = [], []
    for _ in range(count):
        terminal.read(rest_s)
        before, worked_s = len(terminal.pictures), terminal.worked_s()
        at_s = terminal.press(rng.choice(KEYS))
        terminal.read(LONGEST_S, until_picture=True)
        if len(terminal.pictures) > before:
            took_ms.append(1000 * (terminal.pictures[before][0] - at_s))
            worked_ms.append(1000 * (terminal.worked_s() - worked_s))
    return took_ms, worked_ms


def time_bare(sizes: list[int]) -> list[float]:
    """Milliseconds for as many bytes, written by a bare loop to a terminal that is read alike."""
    out = []
    ours, theirs = os.openpty()
    for size in sizes:
        bytes_left = size
        writer = threading.Thread(target=os.write, args=(theirs, b"~" * size))
        start_s = time.perf_counter()
        writer.start()
        while bytes_left > 0:
            bytes_left -= len(os.read(ours, 1 << 16))
        out.append(1000 * (time.perf_counter() - start_s))
        writer.join()
    os.close(ours)
    os.close(theirs)
    return out


def say(what: str, took_ms: list[float]) -> None:
    """The middle and the slowest hundredth."""
    if len(took_ms) < 2:
        print(f"{what}: {len(took_ms)} pictures")
        return
    last = quantiles(took_ms, n=100, method="inclusive")[98]
    print(f"{what}: {len(took_ms)} pictures, median {median(took_ms):.0f} ms, 99 % {last:.0f} ms")


def main() -> int:
    """Measure, and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--keys", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--score", default="sample_scores/2-the-ferry-bell.musicxml")
    options = parser.parse_args()
    rng = random.Random(options.seed)
    with tempfile.TemporaryDirectory() as folder:
        words = [sys.executable, "-m", "coach", "drill", options.score, "--bars", "5-8"]
        terminal = SixelTerminal(words, Path(folder))
        gives_up_s = time.perf_counter() + STARTED_S
        try:
            while not terminal.pictures and time.perf_counter() < gives_up_s:
                terminal.press("\r")  # where no piano is heard: look at the piece without one
                terminal.read(REST_S, until_picture=True)
            if not terminal.pictures:
                print("No picture came: is the extra pictures installed?")
                return 1
            rested, rested_worked = time_keys(terminal, options.keys, REST_S, rng)
            at_once, at_once_worked = time_keys(terminal, options.keys, AT_ONCE_S, rng)
        finally:
            terminal.end()
        sizes = [size for _, size in terminal.pictures[1 : 1 + len(rested)]]
    say("asked for at rest", rested)
    say("  of it on the processor", rested_worked)
    say("asked for one upon the other", at_once)
    say("  of it on the processor", at_once_worked)
    say("the same bytes, a bare loop", time_bare(sizes))
    return 0


if __name__ == "__main__":
    sys.exit(main())
