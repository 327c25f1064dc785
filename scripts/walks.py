"""Three walks through the house: which of our modules are crossed on the way, and how often.

    python -m scripts.walks [--names]

A key to its painted cell, the end of a four-note repetition to its row in the record, and a file
to its first bar on the staff: the real app, score, drill and record, without terminal and piano.
``sys.setprofile`` sees every call of the thread that does it all. A module is crossed where a
function of it is called; a switch is a call in another of our modules than the call before it.
``--names`` lists the modules with their calls.

- The key begins where the port's thread posts it and ends where the cell's characters are written;
  it is the second key of the repetition, so that nothing is made for the first time.
- The row begins with the tick that ends the repetition and ends where the record has saved it. The
  verdict is worked out in this process.
- The file begins with its path and ends with the laid-out page of its first bar.
"""

from __future__ import annotations

import argparse
import asyncio
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Any, NamedTuple

from coach.playing.midi_events import KeyDown, KeyUp, PianoFound
from coach.score.reading import read_score
from coach.score.window import choose_window, excerpt
from coach.screens.staff.layout import lay_out
from scripts.headless_app import SCORES, HeadlessApp

PIECE = SCORES[0]
BEATS = "1-4"
SIZE = (120, 40)
STAFF = (120, 26)
BEAT_S = 0.6
PATIENCE_S = 10.0


class Spot(NamedTuple):
    """A function of ours."""

    module: str
    name: str


TICK = Spot("coach.coaching.drill.drill", "tick")
PAINTED = Spot("coach.screens.terminal.painter", "paint")
SAVED = Spot("coach.record.store", "save_repetition")


class Walk:
    """The modules of ours that calls went through."""

    def __init__(self, end: Spot | None = None, begin: Spot | None = None) -> None:
        """Counted from the last call of ``begin`` (else from the start) to the end of ``end``."""
        self.calls: Counter[str] = Counter()
        self.switches = 0
        self.is_over = False
        self._end, self._begin, self._last = end, begin, ""

    @contextmanager
    def watch(self) -> Iterator[None]:
        """See every call until the end."""
        sys.setprofile(self._see)
        try:
            yield
        finally:
            sys.setprofile(None)

    def _see(self, frame: FrameType, event: str, _: Any) -> None:
        module = str(frame.f_globals.get("__name__", ""))
        if self.is_over or event not in ("call", "return") or not module.startswith("coach."):
            return
        if frame.f_code.co_filename.startswith("<"):  # what dataclasses write
            return
        spot = Spot(module, frame.f_code.co_name)
        if event == "return":
            self.is_over = spot == self._end
            return
        if spot == self._begin:
            self.calls.clear()
            self.switches, self._last = 0, ""
        self.calls[module] += 1
        self.switches += module != self._last
        self._last = module

    def tell(self, what: str, names: bool) -> None:
        """Print the figures."""
        print(f"{what}: {len(self.calls)} modules, {self.switches} switches")
        for name, count in sorted(self.calls.items()) if names else ():
            print(f"{count:8} {name}")


async def walk_while_playing() -> tuple[Walk, Walk]:
    """A key to its cell, and a repetition to its row."""
    key, row = Walk(PAINTED), Walk(SAVED, TICK)
    words = [
        "drill",
        str(PIECE),
        "--bars",
        "1",
        "--beats",
        BEATS,
        "--hand",
        "rh",
        "--stage",
        "notes",
    ]
    with tempfile.TemporaryDirectory() as folder:
        home = HeadlessApp(words, Path(folder), time.perf_counter)
        try:
            async with home.app.run_test(size=SIZE) as pilot:
                home.ports.post(PianoFound("Test piano:out"))
                await until(lambda: home.drill is not None, "no drill began")
                assert home.drill
                await pilot.pause(0.5)
                pitches = [note.pitch for note in home.drill.session.drill.excerpt.notes]
                assert len(pitches) == 4, pitches
                start_s = time.perf_counter()
                for at, pitch in enumerate(pitches):
                    strike = strike_key(home, pitch, start_s + at * BEAT_S)
                    if at == 1:
                        with key.watch():
                            await strike
                    elif at == len(pitches) - 1:
                        with row.watch():
                            await strike
                            await until(lambda: row.is_over, "nothing was saved")
                    else:
                        await strike
        finally:
            home.close()
    assert key.is_over, "the key was not painted by itself"
    return key, row


async def strike_key(home: HeadlessApp, pitch: int, at_s: float) -> None:
    """A key down and up again, a beat long, stamped to the point."""
    home.ports.post(KeyDown(pitch, 64, at_s))
    await asyncio.sleep(at_s + 0.9 * BEAT_S - time.perf_counter())
    home.ports.post(KeyUp(pitch, at_s + 0.9 * BEAT_S))
    await asyncio.sleep(at_s + BEAT_S - time.perf_counter())


async def until(is_so: Callable[[], bool], else_words: str) -> None:
    """Wait for something, not for long."""
    begun_s = time.perf_counter()
    while not is_so():
        assert time.perf_counter() < begun_s + PATIENCE_S, else_words
        await asyncio.sleep(0.02)


def walk_to_a_bar() -> Walk:
    """A file to its first bar."""
    walk = Walk()
    with walk.watch():
        score = read_score(PIECE)
        lay_out(score, excerpt(score, choose_window(score, bars="1")), *STAFF).pages[0]
    return walk


def main() -> None:
    """Walk, and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--names", action="store_true", help="list the modules")
    names = parser.parse_args().names
    key, row = asyncio.run(walk_while_playing())
    key.tell("a key to its painted cell", names)
    row.tell("the end of a repetition to its row", names)
    walk_to_a_bar().tell("a file to its first bar", names)


if __name__ == "__main__":
    main()
