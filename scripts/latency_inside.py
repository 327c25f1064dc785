"""What bench_latency.py runs in the terminal: the app, a bare writer, or a busy screen.

Each hears the piano through Keyhole's own ports and writes down, for every key, the time it was
stamped with and the time it was handed over (time.perf_counter), as JSON when it ends.
"""

from __future__ import annotations

import atexit
import json
import os
import sys
import threading
import time
import tty
from collections.abc import Callable
from pathlib import Path

from coach.playing.midi_events import KeyDown, MidiEvent, PianoFound
from coach.playing.ports import divert_noise
from coach.playing.ports.ports import Ports, Post

Noting = Callable[[MidiEvent], None]


def noting(log: Path) -> Callable[[Post], Post]:
    """Wraps a ``post`` so that keys are noted; the file is written when the program ends."""
    keys: list[tuple[int, float, float]] = []
    atexit.register(lambda: log.write_text(json.dumps(keys)))

    def wrap(post: Post) -> Post:
        def both(event: MidiEvent) -> None:
            if isinstance(event, KeyDown):
                keys.append((event.pitch, event.at_s, time.perf_counter()))
            elif isinstance(event, PianoFound):
                log.with_suffix(".ready").touch()
            post(event)

        return both

    return wrap


def app(log: Path, arguments: list[str]) -> None:
    """The real program, from its command line on."""
    wrap = noting(log)

    listen = Ports.listen

    def noted(self: Ports, wanted: str | None, post: Post, before: str | None = None) -> None:
        listen(self, wanted, wrap(post), before)

    Ports.listen = noted  # type: ignore[method-assign]
    from coach.__main__ import main

    sys.argv[1:] = arguments
    sys.exit(main())


def direct(log: Path, _: list[str]) -> None:
    """Writes a mark's bytes to the terminal from the MIDI thread itself: the floor."""
    divert_noise()
    tty.setraw(0)
    mark = "".join(f"\x1b[{row};40H\x1b[1;38;2;200;200;200m=\x1b[0m" + " " * 60 for row in range(6))
    drawn = mark.encode()

    def write(event: MidiEvent) -> None:
        if isinstance(event, KeyDown):
            os.write(1, drawn)

    heard = Ports()
    heard.listen(None, noting(log)(write))
    sys.stdin.read(1)
    heard.close()


def busy(log: Path, _: list[str]) -> None:
    """Repaints a whole screen 60 times a second, and computes without a pause beside it."""
    divert_noise()
    from textual.app import App, ComposeResult
    from textual.widgets import Static

    class Restless(App[None]):
        painted = 0

        def compose(self) -> ComposeResult:
            yield Static()

        def on_mount(self) -> None:
            self.set_interval(1 / 60, self.paint)
            threading.Thread(target=compute, daemon=True).start()

        def on_key(self) -> None:
            self.exit()

        def paint(self) -> None:
            self.painted += 1
            lines = (
                "".join(
                    chr(33 + (self.painted * 7 + row * 3 + column) % 90) for column in range(118)
                )
                for row in range(38)
            )
            self.query_one(Static).update("\n".join(lines))

    def compute() -> None:
        while True:
            sum(range(200))

    heard = Ports()
    heard.listen(None, noting(log)(lambda event: None))
    Restless().run()
    heard.close()


if __name__ == "__main__":
    {"app": app, "direct": direct, "busy": busy}[sys.argv[1]](Path(sys.argv[2]), sys.argv[3:])
