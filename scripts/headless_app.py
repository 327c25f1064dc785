"""The real app without a terminal and without a piano: real scores, drill and record, fake ports.

For scripts that play at it for long: their clock may run faster than life.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, cast

sys.path.insert(0, str(Path(__file__).parents[1]))

from textual.events import Key, Resize
from textual.geometry import Size
from textual.keys import _character_to_key

from coach.cli.parser import make_parser
from coach.cli.storage import Storage
from coach.cli.wiring import collaborators
from coach.playing.midi_events import MidiEvent
from coach.playing.ports.own_sound import OwnSound
from coach.playing.ports.ports import Ports
from coach.screens.app import KeyholeApp
from coach.screens.drill import foot, presenter
from coach.screens.drill.screen import DrillScreen
from coach.screens.interfaces import Errand, Settings, Start

SCORES = tuple(sorted((Path(__file__).parents[1] / "sample_scores").glob("*.musicxml")))


class FakePorts:
    """Ports that a script posts from."""

    trouble = ""
    api = "jack"
    piano = None

    def __init__(self) -> None:
        self.post: Callable[[MidiEvent], None] = lambda event: None

    def names_in(self) -> tuple[str, ...]:
        """One port."""
        return ("Test piano:out",)

    def listen(
        self, wanted: str | None, post: Callable[[MidiEvent], None], before: str | None = None
    ) -> None:
        """Remember whom to post to."""
        self.post = post

    def name_out(self, wanted: str | None = None) -> None:
        """No port takes a click."""

    def watch(self, watch: object) -> None:
        """Nothing arrives but what is posted."""

    @property
    def own(self) -> OwnSound:
        """What we send: nothing."""
        return OwnSound()

    def close(self) -> None:
        """Nothing to let go of."""


class FastClock:
    """Seconds that pass so many times as fast."""

    def __init__(self, speed: float) -> None:
        self.speed, self._since = speed, time.perf_counter()

    def __call__(self) -> float:
        """Now."""
        return self._since + (time.perf_counter() - self._since) * self.speed


def hurry_screens(speed: float) -> None:
    """Let what the screens wait for pass as fast as the clock."""
    for module, names in (
        (presenter, "HOLD_S"),
        (foot, "SAVE_S HEARD_S READ_S"),
    ):
        for name in names.split():
            setattr(module, name, max(getattr(module, name) / speed, 0.005))


class HeadlessApp:
    """An app, its fake ports, and its keys."""

    def __init__(self, words: Sequence[str], data: Path, clock: Callable[[], float]) -> None:
        """``words``: the command line."""
        options = make_parser().parse_args([*words, "--data", str(data)])
        self.ports, self.clock = FakePorts(), clock
        self.storage = Storage(options, keeps=options.command != "demo")
        start = Start()
        if options.command == "drill":
            start = Start(options.score, Errand.DRILL)
        elif options.command == "demo":
            start = Start(options.score or SCORES[0], Errand.DEMO, options.speed)
        given = collaborators(options, self.storage, cast(Ports, self.ports))
        self.app = KeyholeApp(given, Settings(options.ascii), start, clock=clock)

    @property
    def drill(self) -> DrillScreen | None:
        """The drill on the screen."""
        return self.app.drill

    def press(self, key: str) -> None:
        """Press a key of the computer, and do not wait for what comes of it."""
        char = key if len(key) == 1 else None
        name = _character_to_key(key) if char and not key.isalnum() else key
        self.app.post_message(Key(name, char))

    def resize(self, columns: int, rows: int) -> None:
        """Make the terminal another size, and do not wait."""
        driver: Any = self.app._driver
        size = Size(columns, rows)
        driver._size = size
        self.app.post_message(Resize(size, size))

    def close(self) -> None:
        """Close the record."""
        if store := self.storage.store:
            store.close()
