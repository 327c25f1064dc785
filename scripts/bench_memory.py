"""Does memory stay flat over an evening? The real app is played at, faster than life.

    python scripts/bench_memory.py --minutes 60

A fake piano plays whatever window the screen asks for, one repetition in five with a wrong key, on
a clock that runs ``--speed`` times as fast; every few repetitions a dialog is opened, the terminal
is resized, something else is asked for. Prints the memory that the process holds (RSS) every
simulated minute, beside the objects that Python's collector knows; with ``--types`` also which
kinds of them have become more since the tenth minute, and with ``--lines`` which lines of code
hold the memory taken since then. The kept record is in a folder that is thrown away.
"""

from __future__ import annotations

import argparse
import asyncio
import gc
import random
import sys
import tempfile
import tracemalloc
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from coach.playing.midi_events import KeyDown, KeyUp, PianoFound
from coach.screens.drill.screen import DrillScreen
from scripts.headless_app import SCORES, FastClock, HeadlessApp, hurry_screens

SETTLED_MIN = 10
"""From this simulated minute on memory is to be flat."""
PAUSE_S = 2.5
"""Between two repetitions: the verdict is read."""


def rss_mb() -> float:
    """What this process holds in memory, in MB; Linux only."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    [line] = [line for line in status.splitlines() if line.startswith("VmRSS")]
    return int(line.split()[1]) / 1024


def kinds() -> Counter[str]:
    """How many objects there are of each kind, whatever has been frozen too."""
    gc.unfreeze()
    gc.collect()
    return Counter(f"{type(one).__module__}.{type(one).__qualname__}" for one in gc.get_objects())


class Evening:
    """A pianist at the app."""

    def __init__(self, seat: HeadlessApp, clock: FastClock, seed: int) -> None:
        self.seat, self.clock, self.random = seat, clock, random.Random(seed)
        self.repetitions = 0

    async def until(self, at_s: float) -> None:
        """Wait for a time of the clock."""
        while (left_s := (at_s - self.clock()) / self.clock.speed) > 0:
            await asyncio.sleep(min(left_s, 0.5))

    async def repetition(self) -> None:
        """Play the window that is asked for."""
        drill = self.seat.drill
        excerpt = drill.presenter.staff.excerpt if drill else None
        if drill is None or excerpt is None:
            await asyncio.sleep(0.05)
            return
        asked = drill.session.drill.assignment
        start_s, start = self.clock() + 0.1, excerpt.notes[0].onset_quarters
        wrong = self.random.randrange(5 * len(excerpt.notes))
        for at, note in enumerate(excerpt.notes):
            at_s = start_s + float(note.onset_quarters - start) * 60 / (asked.qpm or 80)
            await self.until(at_s)
            pitch = note.pitch + (at == wrong)
            self.seat.ports.post(KeyDown(pitch, 64, at_s))
            self.seat.ports.post(KeyUp(pitch, at_s + 0.2))
        self.repetitions += 1
        await self.until(self.clock() + PAUSE_S)

    async def now_and_then(self) -> None:
        """What else a pianist does in an evening."""
        if not self.repetitions:
            return
        if self.repetitions % 5 == 0:
            self.seat.press(self.random.choice(["d", "w", "t", "question_mark", "m", "ctrl+p"]))
            await asyncio.sleep(0.05)
        if self.repetitions % 7 == 0:
            self.seat.press(self.random.choice(["n", "left", "right", "up", "down", "o", "a"]))
        if self.repetitions % 11 == 0:
            self.seat.resize(*self.random.choice([(80, 24), (120, 40), (100, 30)]))
        while self.seat.drill and not isinstance(self.seat.app.screen, DrillScreen):
            over = self.seat.app.screen
            self.seat.press("escape")
            while self.seat.app.screen is over:  # a second press would leave the drill
                await asyncio.sleep(0.01)


async def play(asked: argparse.Namespace, seat: HeadlessApp, clock: FastClock) -> list[float]:
    """Play it; the memory at the end of each minute."""
    measured: list[float] = []
    before: Counter[str] = Counter()
    snapshot = None
    begun_s = clock()
    evening = Evening(seat, clock, asked.seed)
    async with seat.app.run_test(size=(120, 40)):
        seat.ports.post(PianoFound("Test piano:out"))
        while len(measured) < asked.minutes:
            await evening.repetition()
            if not asked.plain:
                await evening.now_and_then()
            if clock() - begun_s < 60 * (len(measured) + 1):
                continue
            measured.append(rss_mb())
            minute, objects = len(measured), len(gc.get_objects())
            print(
                f"minute {minute:3}  {measured[-1]:6.1f} MB  {objects:7} objects  "
                f"{evening.repetitions} repetitions", flush=True,
            )  # fmt: skip
            if minute == min(SETTLED_MIN, asked.minutes // 2):
                before = kinds() if asked.types else before
                if asked.lines:
                    tracemalloc.start(8)
                    snapshot = tracemalloc.take_snapshot()
        if asked.types:
            print(
                "\n".join(f"{more:+7} {kind}" for kind, more in (kinds() - before).most_common(25))
            )
        if snapshot:
            gc.collect()
            for one in tracemalloc.take_snapshot().compare_to(snapshot, "traceback")[:12]:
                print(f"{one.size_diff / 1024:+9.1f} KB {one.count_diff:+7}")
                print("\n".join(one.traceback.format()[-12:]))
        seat.press("ctrl+q")
    return measured


def main() -> int:
    """Measure."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--minutes", type=int, default=31)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--speed", type=float, default=20.0)
    parser.add_argument("--types", action="store_true", help="which kinds of objects grow")
    parser.add_argument("--lines", action="store_true", help="which lines hold what grows")
    parser.add_argument("--plain", action="store_true", help="only play: no dialogs, no sizes")
    asked = parser.parse_args()
    hurry_screens(asked.speed)
    clock = FastClock(asked.speed)
    with tempfile.TemporaryDirectory() as folder:
        words = ["drill", str(SCORES[1]), "--clean", "100"]
        seat = HeadlessApp(words, Path(folder), clock)
        try:
            measured = asyncio.run(play(asked, seat, clock))
        finally:
            seat.close()
    if len(measured) > SETTLED_MIN:
        grown, minutes = measured[-1] - measured[SETTLED_MIN - 1], len(measured) - SETTLED_MIN
        print(f"after minute {SETTLED_MIN}: {grown / minutes:+.3f} MB a minute")
    return 0


if __name__ == "__main__":
    sys.exit(main())
