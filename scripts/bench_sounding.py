"""How punctual what sounds is, and whether anything goes on sounding when the program is killed.

    scripts/jack python -m scripts.bench_sounding [--seconds 60] [--kills 100] [--seed 1]

Needs JACK (apt-get install jackd2). A click at 120 beats a minute and a playback of ten notes a
second are sent while this process repaints a screen and computes without a pause, as the program
may. Printed are, in milliseconds, how late each message was

- as it was written to the port, by the sounding process and, in the same run, by a thread of this
  process (the alternative);
- as it came in at another program's port, beside those of a process that does nothing else.

Then a program that sounds is killed at random moments: each time it is counted what is still down
a second later at the port that it sounded through.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from coach.playing.click_schedule import Timed
from coach.playing.ports import OutPort, RtMidiDriver
from coach.playing.sounding.process import TimedSender

HERE = Path(__file__).resolve().parent
MODULE = "Sound Module"
PORT = f"{MODULE}:in"
PATIENCE_S = 10.0
"""What is still down so long after a kill hangs; on a busy machine silence itself takes a while."""
TOGETHER = 5
"""So many programs sound side by side and are killed, each at a port of its own."""
BEGIN_S = 3.0
"""Until the first message: the processes begin."""
NOTE_S, BEAT_S = 0.1, 0.5

_PROCESS = """
import json, sys, time
from coach.playing.ports import OutPort, RtMidiDriver
from coach.playing.sounding import process

class TimedPort:
    def __init__(self, port): self.port = port
    def send(self, message):
        written.append((time.perf_counter(), list(message)))
        self.port.send(message)
    def close(self): self.port.close()

class TimedDriver(RtMidiDriver):
    def open_out(self, name):
        port = super().open_out(name)
        return TimedPort(port) if port else None

written = []
driver = TimedDriver("jack")
process.be_punctual()
process.run(driver, sys.stdin)
print(json.dumps(written))
"""
_MODULE = """
import json, sys, time, rtmidi
port = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, sys.argv[1])
got = []
port.set_callback(lambda event, _: got.append((time.perf_counter(), event[0])))
port.open_virtual_port("in")
print("ready", flush=True)
for line in sys.stdin:
    count = len(got)  # more may come meanwhile
    print(json.dumps(got[:count]), flush=True)
    del got[:count]
"""
_SOUNDS = """
import sys, time
from coach.playing.sounding import SoundingLine
line = SoundingLine("jack")
port = sys.argv[1] + ":in"
line.prepare(port)
key = 40
while True:
    now_s = time.perf_counter()
    notes = [(now_s + .02 * k, (0x90, 40 + (key + k) % 40, 60)) for k in range(10)]
    line.play(port, [*notes, (now_s + .1, (0xB0, 64, 127))])
    key += 10
    time.sleep(.25)
"""


def python(program: str, *arguments: str) -> subprocess.Popen[str]:
    """A Python of its own that runs this."""
    environment = {**os.environ, "PYTHONPATH": str(HERE.parent)}
    return subprocess.Popen(
        [sys.executable, "-c", program, *arguments],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env=environment,
    )


class Module:
    """Another program's port: what came in, and when."""

    def __init__(self, name: str = MODULE) -> None:
        self._process = python(_MODULE, name)
        self._line()

    def _line(self) -> str:
        assert self._process.stdout
        return self._process.stdout.readline()

    def take(self) -> list[tuple[float, list[int]]]:
        """What came since this was asked last."""
        assert self._process.stdin
        print(file=self._process.stdin, flush=True)
        return [(at_s, message) for at_s, message in json.loads(self._line())]

    def close(self) -> None:
        """End it."""
        self._process.kill()
        self._process.wait()


def schedule(start_s: float, seconds: float, channel: int) -> list[Timed]:
    """A click and a playback; every message is another, so that each is found again."""
    notes: list[Timed] = []
    for k in range(int(seconds / NOTE_S)):
        at_s = start_s + k * NOTE_S
        message = (0x90 | channel, 20 + k % 100, 1 + k // 100)
        notes += [(at_s, message), (at_s + 0.06, (0x80 | channel, message[1], 0))]
    for k in range(int(seconds / BEAT_S)):
        notes.append((start_s + 0.05 + k * BEAT_S, (0xB0 | channel, 20 + k % 100, k // 100)))
    return sorted(notes)


def busy(until_s: float) -> None:
    """Repaint a screen and compute, as a program at its busiest."""
    rows = "x" * 4800
    with open(os.devnull, "w", encoding="utf-8") as sink:
        while time.perf_counter() < until_s:
            sink.write("".join(f"\x1b[{k % 8 + 30}m{c}" for k, c in enumerate(rows)))
            sum(k * k for k in range(2000))


def lateness_ms(due: Sequence[Timed], came: Sequence[tuple[float, Sequence[int]]]) -> list[float]:
    """For each message of the schedule that came; notes and click alone."""
    left: dict[tuple[int, ...], list[float]] = {}
    for at_s, message in came:
        left.setdefault(tuple(message), []).append(at_s)
    late = []
    for at_s, message in due:
        times = left.get(tuple(message), [])
        if times:
            late.append(1000 * (times.pop(0) - at_s))
    return late


def told(what: str, late_ms: Sequence[float], of: int) -> None:
    """One row."""
    late = sorted(late_ms)
    if not late:
        print(f"  {what:<42} nothing came of {of}")
        return
    print(
        f"  {what:<42} median {late[len(late) // 2]:6.2f}  99 % {late[int(0.99 * len(late))]:6.2f}"
        f"  latest {late[-1]:6.2f}  earliest {late[0]:6.2f}  ({len(late)} of {of})"
    )


def punctuality(seconds: float) -> None:
    """The table of lateness."""
    module = Module()
    child = python(_PROCESS)
    assert child.stdin
    print(json.dumps({"to": PORT}), file=child.stdin, flush=True)
    start_s = time.perf_counter() + BEGIN_S
    own = schedule(start_s, seconds, 0)
    print(json.dumps({"play": own}), file=child.stdin, flush=True)
    driver = RtMidiDriver("jack")
    opened = driver.open_out(PORT)
    assert opened
    port: OutPort = opened
    written: list[tuple[float, list[int]]] = []

    class ThreadPort:
        def send(self, message: Sequence[int]) -> None:
            written.append((time.perf_counter(), list(message)))
            port.send(message)

        def close(self) -> None:
            port.close()

    thread = TimedSender(ThreadPort())
    by_thread = schedule(start_s, seconds, 1)
    thread.play(by_thread)
    idle = python(_PROCESS)
    assert idle.stdin
    print(json.dumps({"to": PORT}), file=idle.stdin, flush=True)
    quiet_s = start_s + seconds + 1.0
    alone = schedule(quiet_s, seconds / 2, 2)
    print(json.dumps({"play": alone}), file=idle.stdin, flush=True)
    busy(start_s + seconds + 0.3)
    thread.close()
    time.sleep(max(quiet_s + seconds / 2 + 0.5 - time.perf_counter(), 0))
    came = module.take()
    child_written = json.loads(child.communicate("")[0])
    idle.communicate("")
    print("how late, in milliseconds, beside a screen that is repainted without a pause")
    told("written to the port, sounding process", lateness_ms(own, child_written), len(own))
    told("written to the port, thread beside it", lateness_ms(by_thread, written), len(by_thread))
    told("received, sounding process", lateness_ms(own, came), len(own))
    told("received, process with nothing beside it", lateness_ms(alone, came), len(alone))
    driver.close()
    module.close()


def kills(count: int, dice: random.Random) -> None:
    """Kill programs that sound; count what is still down a second later."""
    names = [f"{MODULE} {at + 1}" for at in range(min(TOGETHER, count))]
    modules = [Module(name) for name in names]
    sounding, hanging, without, took_s = 0, 0, 0, []
    for _ in range(count // len(names)):
        came, killed_s = kill_together(modules, names, dice)
        sounding += sum(what_is_left(before)[0] for before in came)
        time.sleep(1.0)
        for module, heard, at_s in zip(modules, came, killed_s, strict=True):
            heard += module.take()
            while what_is_left(heard)[0] and time.perf_counter() < at_s + PATIENCE_S:
                time.sleep(0.1)
                heard += module.take()
            is_down, last_s = what_is_left(heard)
            hanging += is_down
            without += what_is_left(heard, heeds_all_off=False)[0]
            took_s.append(last_s - at_s)
    took_s.sort()
    print(
        f"{len(took_s)} kills: in {sounding} something sounded at that moment; in {hanging} "
        f"something was left sounding ({without} at a piano that heeds no “all notes off”: a key's "
        "own end did not come through); silent after "
        f"{1000 * took_s[len(took_s) // 2]:.0f} ms (median), {1000 * took_s[-1]:.0f} ms (longest)"
    )
    for module in modules:
        module.close()


Came = list[tuple[float, list[int]]]
"""What came in at a port, and when."""


def kill_together(
    modules: Sequence[Module], names: Sequence[str], dice: random.Random
) -> tuple[list[Came], list[float]]:
    """Have a program sound at each of these ports, and kill it at a random moment once it does:
    what had come by then, and when that was."""
    children = [python(_SOUNDS, name) for name in names]
    came = [wait_for_sound(module) for module in modules]
    begun_s = time.perf_counter()
    killed_s = [0.0] * len(children)
    for after_s, at in sorted((dice.uniform(0.0, 1.0), at) for at in range(len(children))):
        time.sleep(max(begun_s + after_s - time.perf_counter(), 0))
        came[at] += modules[at].take()
        children[at].send_signal(signal.SIGKILL)
        killed_s[at] = time.perf_counter()
        children[at].wait()
    return came, killed_s


def wait_for_sound(module: Module) -> Came:
    """What comes until a note begins."""
    came: Came = []
    while not any(message[0] == 0x90 and message[2] for _, message in came):
        time.sleep(0.02)
        came += module.take()
    return came


def what_is_left(came: Came, *, heeds_all_off: bool = True) -> tuple[bool, float]:
    """Whether a key or the pedal is down in the end; and when the last message came.

    "All notes off" (controller 123, MIDI 1.0) lets go of all keys, where it is heeded.
    """
    down: set[int] = set()
    pedal, last_s = False, 0.0
    for at_s, message in came:
        last_s = at_s
        if message[0] == 0x90 and message[2]:
            down.add(message[1])
        elif message[0] in (0x80, 0x90):
            down.discard(message[1])
        elif list(message[:2]) == [0xB0, 123] and heeds_all_off:
            down.clear()
        elif list(message[:2]) == [0xB0, 64]:
            pedal = message[2] > 0
    return bool(down) or pedal, last_s


def main() -> None:
    """Print both."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    tables: list[Callable[[], None]] = []
    if options.seconds:
        tables.append(lambda: punctuality(options.seconds))
    if options.kills:
        tables.append(lambda: kills(options.kills, random.Random(options.seed)))
    for table in tables:
        table()


if __name__ == "__main__":
    main()
