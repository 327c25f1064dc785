"""From a MIDI message to the terminal: how long it takes, and how true a note's time is.

    python scripts/bench_latency.py [--takes 20]

Needs JACK (apt-get install jackd2). The real program runs in a pseudo-terminal of 120 by 40 cells
and hears a piano through a real JACK port; this process is the piano and the terminal. Printed are
milliseconds from the time that a note's message reached the program until

- single notes: the first bytes after it were at the terminal,
- ten-note chords: the last bytes of the burst that its first note set off were there,

for the program, and in the same run for a bare writer that writes 600 bytes for each note straight
from the MIDI thread. Then the error of the notes' stamps against the times they were sent at, its
constant part left out, while a whole screen is repainted 60 times a second and another Python
thread computes without a pause.
"""

from __future__ import annotations

import argparse
import json
import os
import pty
import random
import struct
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterable, Sequence
from pathlib import Path
from statistics import median

HERE = Path(__file__).resolve().parent
INSIDE = HERE / "latency_inside.py"
ROWS, COLUMNS = 40, 120
QUARTER_S = 0.5
SINGLES = (72, 74, 76, 77, 79, 77, 74, 71)
CHORD = (36, 40, 43, 48, 52, 64, 67, 72, 76, 79)
"""Ten notes, five in each hand."""
BURST_S = 0.025
"""Bytes within this of one another are of one burst (a frame of a slow screen lasts 17 ms)."""


class Terminal:
    """A pseudo-terminal of 120 by 40 with a program in it; knows when bytes came."""

    def __init__(self, *command: str) -> None:
        import fcntl
        import termios

        self._master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))
        environ = {**os.environ, "TERM": "xterm-256color", "COLORTERM": "truecolor"}
        environ["PYTHONPATH"] = str(HERE.parent)
        self._process = subprocess.Popen(
            command, stdin=slave, stdout=slave, stderr=slave, env=environ, start_new_session=True
        )
        os.close(slave)
        self.chunks: list[tuple[float, int]] = []
        """When bytes came, and how many."""
        self.tail = b""
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def quiet_s(self) -> float:
        """For how long nothing has come."""
        return time.perf_counter() - self.chunks[-1][0] if self.chunks else 0.0

    def type(self, keys: bytes) -> None:
        """Strike keys of the computer's keyboard."""
        os.write(self._master, keys)

    def ended(self, within_s: float) -> None:
        """Wait for the program to end by itself."""
        self._process.wait(within_s)
        self._reader.join(1)

    def running(self) -> bool:
        return self._process.poll() is None

    def _read(self) -> None:
        try:
            while got := os.read(self._master, 1 << 16):
                self.chunks.append((time.perf_counter(), len(got)))
                self.tail = (self.tail + got)[-4000:]
        except OSError:  # the program has ended
            pass


def score(path: Path) -> None:
    """A piece of two bars of single notes and a bar of two ten-note chords."""
    import mido

    def track(notes: Iterable[tuple[int, int, int]]) -> mido.MidiTrack:
        moves = sorted(
            move
            for pitch, at, length in notes
            for move in ((at, 1, pitch), (at + length - 1, 0, pitch))
        )
        out, now = mido.MidiTrack(), 0
        for at, on, pitch in moves:
            out.append(mido.Message("note_on", note=pitch, velocity=64 * on, time=at - now))
            now = at
        return out

    chords = [(pitch, at, 960) for at in (8 * 480, 10 * 480) for pitch in CHORD]
    right = [(pitch, 480 * k, 480) for k, pitch in enumerate(SINGLES)]
    right += [note for note in chords if note[0] >= 60]
    left = [note for note in chords if note[0] < 60]
    mido.MidiFile(ticks_per_beat=480, tracks=[track(right), track(left)]).save(path)


def play_take(out: object, chance: random.Random) -> list[tuple[int, ...]]:
    """Play the piece once, in time but for a few milliseconds; what was struck, in order."""
    send = out.send_message  # type: ignore[attr-defined]
    strokes: list[tuple[float, tuple[int, ...], float]] = [
        (k * QUARTER_S, (pitch,), 0.8 * QUARTER_S) for k, pitch in enumerate(SINGLES)
    ]
    strokes += [(at * QUARTER_S, CHORD, 1.6 * QUARTER_S) for at in (8, 10)]
    start_s = time.perf_counter() + 0.05
    for at_s, pitches, held_s in strokes:
        due_s = start_s + at_s + chance.uniform(-0.008, 0.008)
        time.sleep(max(0.0, due_s - time.perf_counter()))
        for pitch in pitches:
            send([0x90, pitch, 64])
        time.sleep(held_s)
        for pitch in pitches:
            send([0x80, pitch, 0])
    return [pitches for _, pitches, _ in strokes]


def measure(
    out: object, takes: int, command: Sequence[str], log: Path, settle_s: float
) -> tuple[list[float], list[float], int]:
    """Milliseconds for single notes and for whole chords, and bytes for a single note."""
    terminal = Terminal(*command)
    ready(terminal, log, settle_s)
    chance, struck = random.Random(4), []
    for _ in range(takes):
        struck += play_take(out, chance)
        time.sleep(settle_s)
    terminal.type(b"\x11")  # Ctrl+Q, and any key ends the bare writer
    terminal.ended(20)
    keys = json.loads(log.read_text())
    if [key[0] for key in keys] != [pitch for pitches in struck for pitch in pitches]:
        sys.exit(f"{command[2]}: the keys heard are not those struck")
    return latencies(struck, keys, terminal.chunks)


def ready(terminal: Terminal, log: Path, settle_s: float) -> None:
    """Wait until the piano is found and the screen stands still."""
    deadline_s = time.perf_counter() + 60
    while not (log.with_suffix(".ready").exists() and terminal.quiet_s() > settle_s):
        if time.perf_counter() > deadline_s or not terminal.running():
            sys.exit(f"the program did not come up: {terminal.tail.decode(errors='replace')}")
        if not terminal.chunks and log.with_suffix(".ready").exists():
            time.sleep(settle_s)
            return
        time.sleep(0.05)


def latencies(
    struck: Sequence[tuple[int, ...]],
    keys: Sequence[Sequence[float]],
    chunks: Sequence[tuple[float, int]],
) -> tuple[list[float], list[float], int]:
    """Singles, chords and bytes of a single, from keys heard and bytes written.

    A stroke that shows nothing (its repetition was set aside) is left out; many are an error.
    """
    singles, chords, sizes, place, silent = [], [], [], 0, 0
    for pitches in struck:
        at_s = keys[place][1]
        place += len(pitches)
        burst = burst_after(at_s, chunks)
        if not burst:
            silent += 1
        elif len(pitches) == 1:
            singles.append((burst[0][0] - at_s) * 1e3)
            sizes.append(sum(size for _, size in burst))
        else:
            chords.append((burst[-1][0] - at_s) * 1e3)
    if silent > len(struck) / 20:
        sys.exit(f"{silent} of {len(struck)} strokes showed nothing: the drill went another way")
    return singles, chords, round(median(sizes))


def burst_after(at_s: float, chunks: Sequence[tuple[float, int]]) -> list[tuple[float, int]]:
    """The bytes that came on a note, until there was a pause."""
    burst: list[tuple[float, int]] = []
    for when_s, size in chunks:
        if when_s <= at_s:
            continue
        if when_s - (burst[-1][0] if burst else at_s) > (BURST_S if burst else 0.2):
            break
        burst.append((when_s, size))
    return burst


def stamp_errors(out: object, strokes: int, log: Path) -> tuple[list[float], list[float]]:
    """Milliseconds that stamps, and plain arrivals, are off beside a busy screen."""
    terminal = Terminal(sys.executable, str(INSIDE), "busy", str(log))
    deadline_s = time.perf_counter() + 30
    while not log.with_suffix(".ready").exists() and time.perf_counter() < deadline_s:
        time.sleep(0.05)
    time.sleep(1.5)
    chance, sent = random.Random(5), []
    for k in range(strokes):
        time.sleep(chance.uniform(0.005, 0.04))
        sent.append(time.perf_counter())
        out.send_message([0x90, 21 + k % 88, 64])  # type: ignore[attr-defined]
        out.send_message([0x80, 21 + k % 88, 0])  # type: ignore[attr-defined]
    time.sleep(0.2)
    terminal.type(b"q")
    terminal.ended(20)
    keys = json.loads(log.read_text())
    return tuple(off(sent, [key[n] for key in keys]) for n in (1, 2))  # type: ignore[return-value]


def off(sent: Sequence[float], heard: Sequence[float]) -> list[float]:
    """How far each is from where the others say it should be, in milliseconds."""
    late = [h - s for h, s in zip(heard, sent, strict=True)]
    constant = median(late)
    return [abs(one - constant) * 1e3 for one in late]


def line(name: str, values: Sequence[float]) -> str:
    """Median, 95 %, 99 % and the largest."""
    ordered = sorted(values)
    places = (ordered[min(int(len(ordered) * q), len(ordered) - 1)] for q in (0.5, 0.95, 0.99))
    cells = "".join(f"{value:9.2f}" for value in (*places, ordered[-1]))
    return f"{name:<44}{len(values):6}{cells}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--takes", type=int, default=20, help="of 8 single notes and 2 chords")
    parser.add_argument("--strokes", type=int, default=1000, help="for the stamps' error")
    options = parser.parse_args()
    if "JACK_DEFAULT_SERVER" not in os.environ:
        os.execv(HERE / "jack", [str(HERE / "jack"), sys.executable, *sys.argv])
    import rtmidi

    out = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, "Digital Piano")
    out.open_virtual_port("out")
    try:
        report(out, options.takes, options.strokes)
    finally:
        out.close_port()
        out.delete()


def report(out: object, takes: int, strokes: int) -> None:
    print(f"{'ms':<44}{'n':>6}{'median':>9}{'95 %':>9}{'99 %':>9}{'most':>9}", flush=True)
    with tempfile.TemporaryDirectory() as folder:
        room = Path(folder)
        piece = room / "bench.mid"
        score(piece)
        inside = (sys.executable, str(INSIDE))
        drill = f"--data {room / 'data'} drill {piece} --own-pace --clean 100".split()
        for name, mode, arguments, settle_s in (
            ("written directly", "direct", [], 0.5),
            ("the drill screen", "app", drill, 2.5),
        ):
            log = room / f"{mode}.json"
            command = (*inside, mode, str(log), *arguments)
            singles, chords, size = measure(out, takes, command, log, settle_s)
            print(line(f"{name}: single notes ({size} bytes)", singles))
            print(line(f"{name}: ten-note chords", chords), flush=True)
        stamps, arrivals = stamp_errors(out, strokes, room / "busy.json")
        print(line("error of stamps beside a busy screen", stamps))
        print(line("error of plain arrivals there", arrivals))


if __name__ == "__main__":
    main()
